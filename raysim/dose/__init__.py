"""The main job: trace a scene, judge every face-side, say how long it takes."""

"""What a workshop needs of a scene: printed lengths, panels, places, drawings, stock."""

"""Light through the triangles: photons forwards, paths backwards, poses, threads, compiling."""

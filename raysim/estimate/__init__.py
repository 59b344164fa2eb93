"""From traced light to irradiance with its errors: bounds, face-sides, refinement, meters."""

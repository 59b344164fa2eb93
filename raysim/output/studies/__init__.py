"""What a study writes: one `write(study, folder)` for each."""

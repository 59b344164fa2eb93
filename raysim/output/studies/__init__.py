"""What the commands write of a study: `write(study, folder)` in a module for each.

They lie above `raysim.studies`, which know nothing of pages and files.
"""

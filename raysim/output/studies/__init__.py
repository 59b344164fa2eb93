"""What the commands write of a study: `write(study, folder)` in a module for each.

They lie above the studies themselves, which know nothing of pages and files.
"""

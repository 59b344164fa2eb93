"""What the commands write of a study: `write(study, folder)` in a module for each.

The folder is written whole or not at all, and results that stand there are replaced; where that
fails a `RaysimError` is raised, and what stood there before is still there. `command` is the
command line that repeats a study, to be shown in its report. These modules lie above the studies
themselves, which know nothing of pages and files.

>>> import raysim, tempfile
>>> from pathlib import Path
>>> from raysim.output.studies.survey import write
>>> from raysim.studies import survey
>>> found = survey.study(raysim.load_scene("scenes/lining_white_paint.toml"))
>>> with tempfile.TemporaryDirectory() as folder:
...     write(found, folder)
...     sorted(path.name for path in Path(folder).iterdir())
['result.json', 'sheet.html']
"""

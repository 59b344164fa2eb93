"""Write the demo meshes beside this script anew: ``python meshes/make_meshes.py``.

The shapes are invented and generic; see `raysim.starter`. The raysim package must be importable.
"""

from __future__ import annotations

from pathlib import Path

from raysim.starter.files import mesh_files

if __name__ == "__main__":
    for name, content in mesh_files().items():
        path = Path(__file__).resolve().parent / name
        if path.exists():  # those that the scenes here need; 'raysim start' writes all
            path.write_bytes(content)
            print(f"{name}  {len(content) / 1000:.0f} kB")

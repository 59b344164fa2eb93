"""Take a parcel apart, and put it together again as it was or otherwise."""

import hashlib
import io
import json
import zipfile

Members = dict[str, bytes]


def opened(whole: bytes) -> Members:
    """Members of a parcel by name."""
    with zipfile.ZipFile(io.BytesIO(whole)) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def zipped(members: Members, **odd: int) -> bytes:
    """Members as a zip file; `odd` are attributes of the last of them."""
    file = io.BytesIO()
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in members.items():
            entry = zipfile.ZipInfo(name)
            entry.compress_type = zipfile.ZIP_DEFLATED
            if name == [*members][-1]:
                for key, value in odd.items():
                    setattr(entry, key, value)
            archive.writestr(entry, content)
    return file.getvalue()


def listed(members: Members, **changed: object) -> Members:
    """The same with a manifest that lists them all as they are, with other entries `changed`."""
    record = json.loads(members["manifest.json"])
    rest = {name: content for name, content in members.items() if name != "manifest.json"}
    record["files"] = [
        {"name": n, "bytes": len(c), "sha256": hashlib.sha256(c).hexdigest()}
        for n, c in rest.items()
    ]
    return {"manifest.json": json.dumps(record | changed).encode()} | rest

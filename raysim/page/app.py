"""What the server answers: the page, its modules, results of the scene's folder, and one socket."""

from importlib import resources
from pathlib import Path
from typing import TYPE_CHECKING

from raysim.page.guard import RESULT_POLICY
from raysim.page.rooms import Rooms

if TYPE_CHECKING:
    from starlette.applications import Starlette
    from starlette.requests import Request
    from starlette.responses import Response

KINDS = {
    ".js": "text/javascript",
    ".css": "text/css",
    ".html": "text/html",
    ".svg": "image/svg+xml",
    ".png": "image/png",
    ".json": "application/json",
    ".csv": "text/csv",
    ".toml": "text/plain",
}
SHARED = (
    "vectors",
    "mesh",
    "draw",
    "turntable",
    "legend",
)  # modules of the report's map that are used here


def made_app(rooms: Rooms) -> "Starlette":
    """The application: the start page, or the page about the scene that is on the desk."""
    from starlette.applications import Starlette
    from starlette.routing import Route, WebSocketRoute

    return Starlette(
        routes=[
            Route("/", lambda _: _packaged("raysim.page", "client", _shown(rooms))),
            Route("/client/{name}", lambda asked: _own(asked, "raysim.page", "client")),
            Route("/map/{name}", lambda asked: _own(asked, "raysim.output.pages", "templates")),
            Route("/results/{path:path}", lambda asked: _result(asked, rooms)),
            WebSocketRoute("/desk", rooms.serve),
        ]
    )


def _shown(rooms: Rooms) -> str:
    return "start.html" if rooms.desk is None else "page.html"


def _own(asked: "Request", package: str, folder: str) -> "Response":
    """A module or a sheet of style of the package; of the report's map only what is shared."""
    name = str(asked.path_params["name"])
    if folder == "templates" and name not in {f"map_{one}.js" for one in SHARED}:
        return _missing()
    return _packaged(package, folder, name)


def _packaged(package: str, folder: str, name: str) -> "Response":
    known = {file.name for file in resources.files(package).joinpath(folder).iterdir()}
    if name not in known or Path(name).suffix not in (".js", ".css", ".html"):
        return _missing()
    data = resources.files(package).joinpath(folder).joinpath(name).read_bytes()
    return _sent(data, Path(name).suffix)


def _result(asked: "Request", rooms: Rooms) -> "Response":
    """A file of results within the scene's folder; pages of it run without any rights here."""
    if rooms.desk is None:
        return _missing()
    folder = rooms.desk.path.parent
    results = (folder / "results").resolve()
    try:
        path = (results / str(asked.path_params["path"])).resolve()
        if not (results.is_relative_to(folder) and path.is_relative_to(results)):
            return _missing()
        if path.suffix not in KINDS or not path.is_file():
            return _missing()
        return _sent(path.read_bytes(), path.suffix, {"content-security-policy": RESULT_POLICY})
    except (OSError, ValueError):
        return _missing()


def _sent(data: bytes, suffix: str, headers: dict[str, str] | None = None) -> "Response":
    from starlette.responses import Response

    return Response(data, media_type=KINDS[suffix], headers=headers)


def _missing() -> "Response":
    from starlette.responses import PlainTextResponse

    return PlainTextResponse("There is nothing here.\n", 404)

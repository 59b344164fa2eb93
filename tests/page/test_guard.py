"""Tests from outside: what a foreign page, another name, a path with dots, a second writer may do.

Each speaks to a real server over its port.
"""

import json
import sys
from pathlib import Path

import pytest
from page_server import served
from small_scenes import write_scene

from raysim.page.app import KINDS
from raysim.page.guard import OWN_POLICY

EVIL = "http://evil.example"


@pytest.fixture(scope="module")
def page(tmp_path_factory):
    folder = tmp_path_factory.mktemp("box")
    path = write_scene(folder)
    (folder / "results" / "scene").mkdir(parents=True)
    (folder / "results" / "scene" / "report.html").write_text("<p>a report</p>")
    (folder / "results" / "scene" / "secret.key").write_text("secret")
    (folder / "secret.html").write_text("secret")
    (folder.parent / "secret.html").write_text("secret")
    (folder / "results" / "out.html").symlink_to(folder.parent / "secret.html")
    with served(path, python=sys.executable) as found:
        yield found


def test_the_key_is_exchanged_for_a_strict_cookie(page):
    answer = page.asked(f"/?key={page.key}", Cookie="")
    assert answer.status == 303
    assert answer.getheader("Location") == "/"
    cookie = answer.getheader("Set-Cookie")
    assert cookie.startswith(f"raysim-{page.port}=")
    assert {"HttpOnly", "SameSite=Strict", "Path=/"} <= set(cookie.split("; "))
    assert page.asked("/").status == 200


def test_the_page_may_load_from_itself_alone(page):
    answer = page.asked("/")
    assert answer.getheader("Content-Security-Policy") == OWN_POLICY
    assert "unsafe" not in OWN_POLICY
    assert answer.getheader("X-Content-Type-Options") == "nosniff"
    assert "http:" not in answer.text
    assert "https:" not in answer.text


@pytest.mark.parametrize(
    "path", ["/", "/client/main.js", "/map/map_mesh.js", "/results/scene/report.html"]
)
@pytest.mark.parametrize(
    "headers",
    [
        {"Cookie": ""},
        {"Cookie": "raysim-1=x"},
        {"Host": "evil.example"},
        {"Host": "127.0.0.1"},
        {"Host": "127.0.0.1:1"},
        {"Host": ""},
        {"Origin": EVIL},
        {"Origin": "null"},
    ],
)
def test_nothing_is_told_to_who_does_not_come_from_the_page(page, path, headers):
    answer = page.asked(path, **headers)
    assert answer.status in (400, 403)
    assert "report" not in answer.text
    assert "import" not in answer.text


def test_a_wrong_key_opens_nothing(page):
    for key in ("", "x", page.key[:-1], page.key + "x"):
        answer = page.asked(f"/?key={key}", Cookie="")
        assert answer.status == 403
        assert answer.getheader("Set-Cookie") is None


def test_the_socket_opens_for_the_page_alone(page):
    assert page.socket_status() == 101
    for headers in (
        {"Origin": EVIL},
        {"Origin": "null"},
        {"Origin": ""},
        {"Cookie": ""},
        {"Host": "evil.example"},
    ):
        assert page.socket_status(**headers) == 403


@pytest.mark.parametrize("method", ["POST", "PUT", "DELETE", "OPTIONS"])
def test_nothing_but_the_socket_changes_anything(page, method):
    assert page.asked("/", method, Origin=f"http://{page.host}").status == 405
    assert page.asked("/", method).status == 403


@pytest.mark.parametrize(
    "path",
    [
        "/results/../secret.html",
        "/results/scene/../../secret.html",
        "/results/scene/../../../secret.html",
        "/results/%2e%2e/secret.html",
        "/results/%2e%2e%2fsecret.html",
        "/results//etc/passwd",
        "/results/%2fetc%2fpasswd",
        "/results/out.html",
        "/results/scene/secret.key",
        "/results/scene",
        "/results/scene/report.html%00.png",
        "/client/../desk.py",
        "/client/%2e%2e%2fdesk.py",
        "/map/report.html.j2",
        "/map/map_page.js",
        "/secret.html",
        "/scene.toml",
        "/.raysim-page/scene.toml/journal",
    ],
)  # fmt: skip
def test_no_path_leads_out_of_what_is_served(page, path):
    answer = page.asked(path)
    assert answer.status in (400, 404)
    assert "secret" not in answer.text


def test_pages_of_results_run_without_rights_here(page):
    answer = page.asked("/results/scene/report.html")
    assert answer.status == 200
    policy = answer.getheader("Content-Security-Policy")
    assert policy.startswith("sandbox allow-scripts")
    assert "allow-same-origin" not in policy
    assert ".py" not in KINDS


def test_a_second_program_on_the_same_scene_is_told(page, warm):
    folder = next(Path("/proc").glob(f"{page.process.pid}/cmdline"), None)
    words = folder.read_bytes().split(b"\0") if folder else []
    scene = Path(words[words.index(b"open") + 1].decode())
    with served(scene) as second:
        assert second.process.wait(60) == 2
        (line,) = second.process.stderr.read().splitlines()
    assert "open in another 'raysim open'" in line
    assert "Mend: " in line
    assert page.asked("/").status == 200


def test_a_file_that_is_no_toml_is_refused_in_one_line(warm, tmp_path):
    path = tmp_path / "scene.toml"
    path.write_text("x = ")
    with served(path) as found:
        assert found.process.wait(60) == 2
        (line,) = found.process.stderr.read().splitlines()
        assert "Mend: " in line


def test_there_is_no_scene(warm, tmp_path):
    with served(tmp_path / "none.toml") as found:
        assert found.process.wait(60) == 2
        assert "there is no such file" in found.process.stderr.read()
    assert list(tmp_path.iterdir()) == []


def test_only_this_computer_is_listened_to(page):
    found = json.dumps(
        [line.split()[1:4] for line in Path("/proc/net/tcp").read_text().splitlines()[1:]]
    )
    assert f'"0100007F:{page.port:04X}"' in found
    assert f'"00000000:{page.port:04X}"' not in found

"""Signing in on a class server, and what each is shown then."""

import shutil
import tomllib
from pathlib import Path
from typing import Any

import pytest
from conftest import CODES, set_up_class
from pages import MAIN, frames, opened, press, signed_in, told, words
from starlette.requests import Request
from starlette.responses import PlainTextResponse
from streamlit.testing.v1 import AppTest
from test_guard import SECRET, disputed

from app import server, session, signin
from core.errors import StudyError
from core.people import Role, State
from core.settings import read
from core.workspace import Workspace


def enter(at: AppTest, name: str, code: str) -> AppTest:
    at.text_input(key="sign-in-name").set_value(name)
    at.text_input(key="sign-in-code").set_value(code)
    return press(at, "sign-in-pressed")


@pytest.mark.parametrize("page", ["cards", "tag", "settle", "trays", "results", "classroom"])
def test_nothing_is_shown_to_whoever_has_not_signed_in(classroom: Workspace, page: str) -> None:
    """Whichever page is opened there is the sign-in and nothing of the study but its name."""
    at = AppTest.from_file(str(MAIN), default_timeout=60).run()
    at.switch_page(f"screens/{page}.py").run()
    assert [one.label for one in at.text_input] == ["Your name", "Class code"]
    assert [one.value for one in at.title] == [classroom.settings.name]
    assert not [*at.dataframe, *at.tabs, *at.selectbox]


def test_a_name_and_the_class_code_open_the_pages(classroom: Workspace) -> None:
    """A wrong code is refused in words; the right one signs in under the study's spelling."""
    at = AppTest.from_file(str(MAIN), default_timeout=60).run()
    at = enter(at, "nomsa", "not the code")
    assert "The name and the code do not belong together" in words(at)
    at = enter(at, "nomsa", CODES[Role.TAGGER])
    assert at.session_state["own_tagger"] == "Nomsa"
    assert not at.text_input
    assert len(classroom.people.all()) == 4


def test_a_page_that_says_who_it_is_must_prove_it(classroom: Workspace) -> None:
    """A name in the session or the address is no sign-in, nor is one from before a new code."""
    for state in ({"own_tagger": "Ike"}, {"own_tagger": "Ike", "own_way": "code 0"}):
        at = AppTest.from_file(str(MAIN), default_timeout=60)
        for name, value in state.items():
            at.session_state[name] = value
        at.query_params["instructor"] = "yes"
        assert [one.label for one in at.run().text_input] == ["Your name", "Class code"]
    assert classroom.people.who("Ike").role is Role.INSTRUCTOR


def test_a_tagger_tags_under_their_own_name_and_as_nothing_else(classroom: Workspace) -> None:
    """The Tag page asks for no name and offers no tick; its ticket is a tagger's."""
    at = signed_in("tag", "Thandi", own_instructor="yes")
    data = told(at)
    assert (data["who"], data["instructor"]) == ("Thandi", False)
    assert not at.checkbox
    assert "tagger" not in [one.key for one in at.selectbox]
    at = signed_in("tag", "Ike", own_instructor="yes")
    assert (told(at)["who"], told(at)["instructor"]) == ("Ike", True)
    assert classroom.settings.taggers_needed == 2


@pytest.mark.parametrize("page", ["trays", "results", "classroom"])
def test_a_taggers_pages_hold_nothing_unsettled_of_others(classroom: Workspace, page: str) -> None:
    """Words, tables and choices of every page; the instructor's hold it."""
    disputed(classroom)
    at = signed_in(page, "Thandi")
    said = words(at) + "".join(str(one.to_dict()) for one in frames(at))
    assert SECRET not in said
    assert "taggers differ" not in said
    assert "Only an instructor" not in said
    assert not at.error
    if page == "trays":
        assert "Thandi, tagger. What others said of a visit is left out" in "\n".join(
            str(one.value).replace("\\", "") for one in at.markdown
        )
    if page == "results":
        assert "taggers differ" in str([one.to_dict() for one in frames(signed_in(page, "Ike"))])


def test_a_tagger_who_saves_a_log_is_refused(classroom: Workspace) -> None:
    """The tray log stands on a tagger's page; saving it says who may."""
    at = signed_in("trays", "Thandi")
    at.session_state["trays-tabs"] = "Tray log"
    at = press(at.run(), "save-trays")
    assert "Only an instructor may change clocks, logs" in words(at)
    assert len(classroom.trays()) == 17


def test_who_left_is_told_so_on_every_page(classroom: Workspace) -> None:
    """In place of the page stand clear words and the way out."""
    classroom.people.change("Thandi", state=State.LEFT)
    at = AppTest.from_file(str(MAIN), default_timeout=60)
    at.session_state["own_tagger"], at.session_state["own_way"] = "Thandi", classroom.people.way()
    assert "does not take part in this study any more" in words(at.run())
    assert [one.label for one in at.button] == ["Sign out"]


def test_on_a_computer_of_ones_own_nothing_is_asked(demo: Workspace) -> None:
    """The pages open as ever, and nothing stands above them."""
    at = opened("trays")
    assert not at.text_input
    assert "until it is settled" not in words(at)
    assert demo.settings.sign_in == "name"


# --- accounts ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("user", "account"),
    [
        ({}, ""),
        ({"is_logged_in": False, "email": "n@x.org"}, ""),
        ({"is_logged_in": True, "email": "n@x.org"}, "n@x.org"),
        ({"is_logged_in": True, "email": "n@x.org", "email_verified": True}, "n@x.org"),
        (
            {"is_logged_in": True, "email": "n@x.org", "email_verified": False,
             "iss": "https://id.x.org", "sub": "7"},
            "https://id.x.org 7",
        ),
        ({"is_logged_in": True, "iss": "https://id.x.org", "sub": "7"}, "https://id.x.org 7"),
    ],
)  # fmt: skip
def test_an_account_is_a_verified_address_or_the_providers_own_number(
    user: dict[str, Any], account: str
) -> None:
    """An address that nobody verified could be anybody's, an instructor's too."""
    assert signin.account_of(user)[0] == account


def test_an_oidc_server_needs_its_providers_file(
    built: Path, classroom: Workspace, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Without Authlib or `oidc.toml` the server does not start, and the words say what to do."""
    assert server.secrets(classroom) is None
    file = classroom.folder / "study.toml"
    text = file.read_text(encoding="utf-8").replace('sign_in = "code"', 'sign_in = "oidc"')
    file.write_text(text, encoding="utf-8")
    with Workspace.open(classroom.folder) as workspace:
        monkeypatch.setattr("importlib.util.find_spec", lambda _: None)
        with pytest.raises(StudyError, match="pip install 'lastbite"):
            server.secrets(workspace)
        monkeypatch.setattr("importlib.util.find_spec", lambda _: object())
        with pytest.raises(StudyError, match="It holds redirect_uri, cookie_secret"):
            server.secrets(workspace)
        (workspace.folder / "oidc.toml").write_text('client_id = "x"\n', encoding="utf-8")
        assert server.secrets(workspace) == {"auth": {"client_id": "x"}}
    assert tomllib.loads(text)["people"]["sign_in"] == "oidc"
    assert built.is_dir()


def test_an_account_signs_in_and_waits_until_it_is_let_in(
    built: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """First there is a button; then words that say who lets them in; then the pages."""
    folder = tmp_path / "study"
    shutil.copytree(built, folder)
    set_up_class(folder, "oidc", 'instructors = ["ike@x.org"]\n')
    monkeypatch.setenv(session.STUDY_VARIABLE, str(folder))
    at = AppTest.from_file(str(MAIN), default_timeout=60).run()
    assert [one.label for one in at.button] == ["Sign in"]
    monkeypatch.setattr(signin, "account_of", lambda _: ("vusi@x.org", "Vusi"))
    at = AppTest.from_file(str(MAIN), default_timeout=60).run()
    assert "Vusi waits to be let in. Ask an instructor" in words(at)
    with Workspace.open(folder) as workspace:
        workspace.people.change("Vusi", state=State.ACTIVE)
        at.run()
        assert "waits" not in words(at)
        monkeypatch.setattr(signin, "account_of", lambda _: ("Ike@x.org", "Ike"))
        at = AppTest.from_file(str(MAIN), default_timeout=60).run()
        [new] = [one for one in workspace.people.all() if one.account == "Ike@x.org"]
        assert (new.name, new.role) == ("Ike (Ike@x.org)", Role.INSTRUCTOR)


# --- a proxy's header --------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("peer", "sent", "believed"),
    [
        ("10.0.0.7", ["ike"], "ike"),
        ("10.0.0.8", ["ike"], ""),
        ("10.0.0.7", ["ann", "ike"], ""),
        ("10.0.0.7", [], ""),
    ],
)
@pytest.mark.parametrize("kind", ["http", "websocket"])
def test_a_header_is_believed_of_the_proxy_alone(
    kind: str, peer: str, sent: list[str], believed: str
) -> None:
    """Of any other address, or sent twice, it is taken away before anybody reads it."""
    seen: list[list[tuple[bytes, bytes]]] = []

    async def inner(scope: Any, _receive: Any, _send: Any) -> None:
        seen.append(scope["headers"])

    app = server.BelievedHeader(inner, "X-Forwarded-User", ["10.0.0.7"])
    headers = [(b"x-forwarded-user", one.encode()) for one in sent] + [(b"host", b"x")]
    scope = {"type": kind, "client": (peer, 5), "headers": headers}
    coroutine = app(scope, None, None)  # type: ignore[arg-type]
    with pytest.raises(StopIteration):
        coroutine.send(None)
    found = dict(seen[0])
    assert found.get(b"x-forwarded-user", b"").decode() == believed
    assert found[b"host"] == b"x"


def test_somebody_comes_in_by_the_proxys_header(
    built: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Whom the proxy names takes part at once; without the header nobody comes in."""
    folder = tmp_path / "study"
    shutil.copytree(built, folder)
    set_up_class(folder, "header", 'header = "X-Forwarded-User"\n')
    monkeypatch.setenv(session.STUDY_VARIABLE, str(folder))
    at = AppTest.from_file(str(MAIN), default_timeout=60).run()
    assert "does not say who you are" in words(at)
    monkeypatch.setattr(session, "header", lambda _: "vusi@x.org")
    at = AppTest.from_file(str(MAIN), default_timeout=60).run()
    assert at.session_state["own_tagger"] == "vusi@x.org"


# --- settings ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("lines", "fault"),
    [
        ('sign_in = "password"', "is none of: name, code, oidc, header"),
        ('sign_in = "header"', "people.header is missing"),
        ('address = "trays.x.org"', "is no address"),
        ("instructors = 'Ike'", "is no list"),
        ("header = 5", "is no text"),
        ("trusted = [5]", "is no text"),
    ],
)
def test_settings_of_people_that_cannot_be(tmp_path: Path, lines: str, fault: str) -> None:
    """Each is refused with the way out."""
    file = tmp_path / "study.toml"
    file.write_text(f'[study]\ntimezone = "UTC"\n[people]\n{lines}\n', encoding="utf-8")
    with pytest.raises(StudyError, match=fault):
        read(file)


def test_the_class_reaches_the_pages_under_their_own_name(classroom: Workspace) -> None:
    """The address's host is answered beside this computer's, no other."""
    assert server.hosts(classroom) == ["127.0.0.1", "localhost"]
    file = classroom.folder / "study.toml"
    address = 'sign_in = "code"\naddress = "https://trays.example.org"'
    text = file.read_text(encoding="utf-8").replace('sign_in = "code"', address)
    file.write_text(text, encoding="utf-8")
    with Workspace.open(classroom.folder) as workspace:
        assert server.hosts(workspace) == ["127.0.0.1", "localhost", "trays.example.org"]
        assert server.config(None, server.hosts(workspace))["server.allowedHosts"][-1] == (
            "trays.example.org"
        )


def test_a_photo_is_not_given_to_whoever_has_not_signed_in(classroom: Workspace) -> None:
    """The address of a picture alone opens nothing on a class server."""
    route = server.photo_route(classroom)
    scope = {
        "type": "http",
        "method": "GET",
        "headers": [],
        "path_params": {"size": "review", "photo": 1},
    }
    answer = route(Request(scope))
    assert isinstance(answer, PlainTextResponse)
    assert (answer.status_code, bytes(answer.body)) == (401, b"Sign in to look at photos.")

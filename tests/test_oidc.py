"""Accounts of a provider, for real: its pages, its tokens, and who is let in on what proof."""

import shutil
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from browsers import HIGH, MARKS, WIDE, Served, browser, until
from conftest import set_up_class
from joserfc.jwk import RSAKey
from oidc_provider import CLIENT, SECRET, Provider, provided
from playwright.sync_api import Browser, BrowserContext, Page

from core.people import Role, State
from core.workspace import Workspace

__all__ = ["browser"]
pytestmark = MARKS

PEOPLE = {
    "Vusi": {"sub": "1", "email": "vusi@x.org", "email_verified": True, "name": "Vusi"},
    "Ike": {"sub": "2", "email": "ike@x.org", "email_verified": True, "name": "Ike N."},
    "Mallory": {"sub": "3", "email": "ike@x.org", "email_verified": False, "name": "Ike N."},
}


@pytest.fixture(scope="module")
def provider() -> Iterator[Provider]:
    with provided(PEOPLE) as there:
        yield there


@pytest.fixture(scope="module")
def accounts(
    built: Path, provider: Provider, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[Served]:
    """A class server that takes accounts of the provider; ike@x.org instructs."""
    folder = tmp_path_factory.mktemp("oidc") / "study"
    shutil.copytree(built, folder)
    set_up_class(folder, "oidc", 'instructors = ["ike@x.org"]\n')
    here = Served(folder)
    (folder / "oidc.toml").write_text(
        f'redirect_uri = "{here.address}/oauth2callback"\n'
        'cookie_secret = "of this test alone, and long enough"\n'
        f'client_id = "{CLIENT}"\nclient_secret = "{SECRET}"\n'
        f'server_metadata_url = "{provider.metadata}"\n',
        encoding="utf-8",
    )
    here.start()
    yield here
    here.stop()


@pytest.fixture
def arrive(browser: Browser, accounts: Served) -> Iterator[Callable[[str], Page]]:
    """Open a browser of one's own, press Sign in, and choose an account at the provider."""
    contexts: list[BrowserContext] = []

    def arrived(name: str) -> Page:
        context = browser.new_context(viewport={"width": WIDE, "height": HIGH})
        context.set_default_timeout(60_000)
        contexts.append(context)
        page = context.new_page()
        page.goto(f"{accounts.address}/tag")
        page.get_by_role("button", name="Sign in").click()
        page.get_by_role("heading", name="Who are you?").wait_for()
        page.get_by_role("link", name=name, exact=True).click()
        return page

    yield arrived
    for context in contexts:
        context.close()


def test_a_tagger_waits_until_an_instructor_lets_them_in(
    arrive: Callable[[str], Page], accounts: Served, provider: Provider
) -> None:
    """Both prove who they are at the provider; a photo is given to Vusi only once Ike said so."""
    photo = f"{accounts.address}/photo/strip/1"
    vusi = arrive("Vusi")
    vusi.get_by_text("Vusi waits to be let in. Ask an instructor").wait_for()
    assert vusi.request.get(photo).status == 401
    assert vusi.get_by_role("link", name="Tag", exact=True).count() == 0
    assert {"/authorize", "/token", "/jwks"} <= set(provider.asked)
    ike = arrive("Ike")
    ike.get_by_role("link", name="Class", exact=True).click()
    ike.get_by_text("Ike N., instructor.").wait_for()
    ike.get_by_role("tab", name="People").click()
    ike.get_by_role("button", name="Let in all 1 who wait").click()
    with Workspace.open(accounts.folder) as study:
        until(lambda: person(study, "vusi@x.org") == ("Vusi", Role.TAGGER, State.ACTIVE))
        assert person(study, "ike@x.org") == ("Ike N.", Role.INSTRUCTOR, State.ACTIVE)
    vusi.goto(f"{accounts.address}/tag")
    vusi.locator(".stage img").wait_for()
    assert vusi.request.get(photo).status == 200
    assert vusi.get_by_role("link", name="Settle", exact=True).count() == 0
    vusi.get_by_role("button", name="Vusi").click()
    vusi.get_by_role("button", name="Sign out").click()
    vusi.get_by_text("Sign in with your account").wait_for()
    until(lambda: vusi.request.get(photo).status == 401)


def test_an_address_that_nobody_verified_makes_no_instructor(
    arrive: Callable[[str], Page], accounts: Served, provider: Provider
) -> None:
    """Mallory claims the instructor's address: they are somebody else, and wait."""
    page = arrive("Mallory")
    page.get_by_text("waits to be let in. Ask an instructor").wait_for()
    with Workspace.open(accounts.folder) as study:
        name, role, state = person(study, f"{provider.address} 3")
    assert name.startswith("Ike N.")
    assert (role, state) == (Role.TAGGER, State.WAITING)


def test_a_token_that_the_provider_did_not_sign_signs_nobody_in(
    arrive: Callable[[str], Page], accounts: Served, provider: Provider
) -> None:
    """Its key is not the one that the provider publishes: the sign-in page is there again."""
    before = people(accounts)
    provider.published = RSAKey.generate_key(2048, {"kid": "1"})
    try:
        page = arrive("Ike")
        page.get_by_text("Sign in with your account").wait_for()
    finally:
        provider.published = None
    assert people(accounts) == before


def test_a_provider_that_does_not_answer_is_said_in_words(
    browser: Browser, accounts: Served, provider: Provider
) -> None:
    """The page stays, and says whose server is away and what is not lost."""
    file = accounts.folder / "oidc.toml"
    text = file.read_text(encoding="utf-8")
    away = Served(accounts.folder)
    gone = text.replace(provider.address, "http://127.0.0.1:9")
    file.write_text(gone.replace(accounts.address, away.address), encoding="utf-8")
    try:
        away.start()
        page = browser.new_page()
        page.goto(f"{away.address}/tag")
        page.get_by_role("button", name="Sign in").click()
        page.get_by_text("The provider of the accounts does not answer").wait_for()
        page.close()
    finally:
        away.stop()
        file.write_text(text, encoding="utf-8")


def person(study: Workspace, account: str) -> tuple[str, Role, State]:
    """Give somebody by their account."""
    [one] = [one for one in study.people.all() if one.account == account]
    return one.name, one.role, one.state


def people(served: Served) -> list[str]:
    """Name everybody on the list of people."""
    with Workspace.open(served.folder) as study:
        return [one.name for one in study.people.all()]

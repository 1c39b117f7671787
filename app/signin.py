"""Decide how somebody proves who they are before a page is drawn, and what is shown until then.

On a computer of one's own nothing is asked. Elsewhere a name comes from the class code, from an
account, or from a proxy's header; the browser then keeps a signed ticket, so that pictures are
given to nobody else and a page that is loaded again need not ask again.
"""

import http.client
import urllib.request
from collections.abc import Mapping
from typing import Any

import streamlit as st

from app import guard, session, viewer, wording
from app.viewer import tickets
from core import people
from core.errors import LastbiteError, PeopleError, StudyError
from core.people import Act, SignIn, State, Who
from core.workspace import Workspace

KEEPER = """
export default function keeper({ data, setStateValue }) {
  const safe = location.protocol === "https:" ? "; Secure" : "";
  const age = data.ticket ? data.seconds : 0;
  document.cookie = `${data.name}=${data.ticket}; Path=/; SameSite=Strict; Max-Age=${age}${safe}`;
  const has = document.cookie.includes(`${data.name}=${data.ticket}`);
  if (data.ticket && has) setStateValue("kept", data.ticket.slice(-16));
}
"""
REMEMBERER = """
export default function rememberer({ data, setStateValue }) {
  const kept = `lastbite:${data.study}:who`;
  if (data.said) sessionStorage.setItem(kept, JSON.stringify([data.who, data.instructs]));
  else if (sessionStorage.getItem(kept)) {
    setStateValue("who", JSON.parse(sessionStorage.getItem(kept)));
  }
}
"""


PATIENCE_S = 10
"""So long a provider may take to answer (a judgement)."""
WAIT = "One moment: this browser keeps your sign-in. It has to allow this page's cookie."


def here() -> Who | None:
    """Give who is here; where nobody is (yet), show how to sign in, and give None."""
    study = session.study()
    if study.settings.sign_in is SignIn.NAME:
        return session.who()
    if not session.who().name:
        _prove(study)
    who = session.who()
    if not who.name:
        _ask(study)
        return None
    if not people.may(who, Act.LOOK):
        _shut(who)
        return None
    return who if _is_kept(study, who) else None


def _prove(study: Workspace) -> None:
    """Take a sign-in that is there already: a proxy's header, an account, or a kept ticket."""
    match study.settings.sign_in:
        case SignIn.HEADER:
            account = session.header(study.settings.header).strip()
            name, vetted = account, True
        case SignIn.OIDC:
            if session.kept("out") == "yes":  # the provider's word holds until the page is left
                return
            account, name = account_of(st.user.to_dict())
            vetted = False
        case _:
            _take_kept(study)
            return
    if account:
        person = study.people.sign_in_with_account(account, name, vetted=vetted)
        session.signed_in(person.name, study.people.way())


def account_of(user: Mapping[str, Any]) -> tuple[str, str]:
    """Give account and name of a user at a provider; both empty where nobody is signed in.

    An e-mail address that the provider has not verified is nobody's.
    """
    if not user.get("is_logged_in"):
        return "", ""
    email = str(user.get("email") or "")
    own = f"{user.get('iss', '')} {user.get('sub', '')}".strip()
    account = email if email and user.get("email_verified") is not False else own
    return account, str(user.get("name") or email or own)


def _take_kept(study: Workspace) -> None:
    signed = session.cookie(cookie_name(study))
    if not signed or session.kept("out") == "yes":
        return
    try:
        ticket = tickets.read(signed, study.ticket_secret())
        who = guard.who_of(study, ticket)
    except tickets.TicketError:
        return
    if who.name:
        session.signed_in(who.name, study.people.way())


# --- what is shown -----------------------------------------------------------------------------


def _ask(study: Workspace) -> None:
    if session.cookie(cookie_name(study)) or session.kept("out") == "yes":
        _keeper(study, "")  # what it let this browser look at is over
    st.title(study.settings.name)
    match study.settings.sign_in:
        case SignIn.CODE:
            _ask_code(study)
        case SignIn.OIDC:
            st.markdown("Sign in with your account. An instructor lets you in the first time.")
            if st.button("Sign in", type="primary", key="oidc"):
                refuse_away(session.provider())
                st.login()
        case _:
            raise StudyError(
                f"The proxy before this page does not say who you are: the header "
                f"{study.settings.header!r} is missing, or comes from an address that is not "
                "trusted. Open the page through the proxy, or mend [people] in study.toml."
            )


def refuse_away(metadata: str) -> None:
    """Refuse to send somebody to a provider that does not answer; PeopleError says what to do."""
    try:
        with urllib.request.urlopen(metadata, timeout=PATIENCE_S) as answer:  # noqa: S310
            answer.read(1)
    except (OSError, ValueError, http.client.HTTPException) as fault:
        raise PeopleError(
            f"The provider of the accounts does not answer at {metadata} ({fault}). Try again "
            "later; what was tagged is kept. If it lasts, the instructor looks at oidc.toml, and "
            "at whether this computer reaches that address."
        ) from None


def _ask_code(study: Workspace) -> None:
    with st.form("sign-in", width=420):
        name = st.text_input("Your name", key="sign-in-name", max_chars=people.LONGEST_NAME)
        code = st.text_input("Class code", type="password", key="sign-in-code", max_chars=200)
        pressed = st.form_submit_button("Sign in", type="primary", key="sign-in-pressed")
    st.markdown(
        "Always use the **same name**: what you tag is kept under it. Instructors use their own "
        "code."
    )
    if not pressed:
        return
    try:
        person = study.people.sign_in_with_code(name, code)
    except LastbiteError as fault:
        st.error(wording.plain(fault), icon=":material/error:")
        return
    session.keep("out", "no")
    session.signed_in(person.name, study.people.way())
    st.rerun()


def _shut(who: Who) -> None:
    st.title("Lastbite")
    try:
        people.refuse(who, Act.LOOK)
    except LastbiteError as words:
        icon = ":material/hourglass:" if who.state is State.WAITING else ":material/error:"
        st.warning(wording.plain(words), icon=icon)
    sign_out()


OWN_NAME = {"Tag", "Settle", "Class"}
"""Pages that ask for the name themselves where people only choose one: they say whose they are."""


def whose(who: Who, page: str) -> None:
    """Say above a page whose it is; Tag, and pages that ask for the name, say so themselves."""
    server = session.study().settings.sign_in is not SignIn.NAME
    if page != "Tag" and (server or page not in OWN_NAME):
        told(who)


def told(who: Who) -> None:
    """Say whose a page is, and what is left out of it for them."""
    hides = not people.may(who, Act.SEE_ALL)
    server = session.study().settings.sign_in is not SignIn.NAME
    if not (hides or server):
        return
    words, out = st.columns([6, 1], vertical_alignment="center")
    role = f"{who.name}, {who.role}. " if who.name else ""
    hidden = (
        "What others said of a visit is left out until it is settled: such a visit stands here as "
        "untagged."
        if hides
        else ""
    )
    words.markdown(wording.plain(role + hidden))
    with out:
        sign_out()


def sign_out() -> None:
    """Offer to sign out, where this page signed somebody in."""
    study = session.study()
    if study.settings.sign_in in {SignIn.NAME, SignIn.HEADER}:
        return
    if st.button("Sign out", key="sign-out", icon=":material/logout:"):
        session.signed_out()
        session.keep("out", "yes")
        if study.settings.sign_in is SignIn.OIDC:
            st.logout()
        st.rerun()


# --- a name that was only chosen ---------------------------------------------------------------

TAB = "tab"
"""Under this name the page hears what this browser tab knows of who sits before it."""


def remember() -> None:
    """Have this browser tab keep the chosen name until it is closed, and give it after a reload.

    For computers of one's own; on a server the signed ticket does that.
    """
    study = session.study()
    session.hold("restored", None)
    if study.settings.sign_in is not SignIn.NAME:
        return
    data = {
        "study": viewer.study_name(study.ticket_secret()),
        "said": session.has_said(),
        "who": session.tagger(),
        "instructs": session.kept("instructor"),
    }
    component = st.components.v2.component("lastbite_rememberer", html="", js=REMEMBERER)
    component(key=TAB, data=data, on_who_change=_remembered)


def _remembered() -> None:
    """Take the name that the tab kept, unless somebody said another one meanwhile."""
    kept = getattr(session.widget(TAB), "who", None)
    if isinstance(kept, list) and kept and kept[0] and not session.tagger():
        session.set_tagger(str(kept[0]))
        session.set_widget("tagger", session.tagger())
        session.keep("instructor", "yes" if kept[1:] == ["yes"] else "no")
        session.set_widget("instructor", kept[1:] == ["yes"])
        session.hold("restored", True)


# --- the ticket in the browser -----------------------------------------------------------------


def cookie_name(study: Workspace) -> str:
    """Give the cookie's name: studies at one address do not share it."""
    return f"lastbite_{viewer.study_name(study.ticket_secret())}"


def _is_kept(study: Workspace, who: Who) -> bool:
    """Have the browser keep a ticket before anything else is drawn: pictures are asked with it."""
    signed = session.ticket(who)
    if session.kept("cookie") == signed:
        return True
    if may_keep(study, session.cookie(cookie_name(study)), who):
        session.keep("cookie", signed)
        return True
    if _keeper(study, signed) == signed[-16:]:
        session.keep("cookie", signed)
        st.rerun()
    return False


def _keeper(study: Workspace, signed: str) -> str:
    """Have the browser keep a ticket, or none; gives its end once it has."""
    words = f"<p>{WAIT if signed else ''}</p>"
    component = st.components.v2.component("lastbite_keeper", html=words, js=KEEPER)
    seconds = int(guard.LONGEST.total_seconds())
    data = {"name": cookie_name(study), "ticket": signed, "seconds": seconds}
    kept = component(key=f"keeper-{bool(signed)}", data=data, on_kept_change=lambda: None)
    return str(kept.kept or "")


def may_keep(study: Workspace, signed: str, who: Who) -> bool:
    """Say whether the ticket that the browser has kept is this person's, and still good."""
    try:
        return guard.of_request(study, signed).name == who.name
    except tickets.TicketError:
        return False

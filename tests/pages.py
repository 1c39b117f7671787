"""Opening, reading and pressing the pages without a browser."""

import json
import re
from pathlib import Path
from typing import Any

import pandas as pd
from streamlit.testing.v1 import AppTest

from app import session
from app.viewer import tickets
from core.people import Role

MAIN = Path(session.__file__).with_name("main.py")
PAGES = ("cards", "clocks", "tag", "trays", "results")


def opened(page: str, **state: object) -> AppTest:
    at = AppTest.from_file(str(MAIN), default_timeout=60)
    for name, value in state.items():
        at.session_state[name] = value
    at.run()
    if page != "cards":
        at.switch_page(f"screens/{page}.py").run()
    assert not at.exception, [one.value for one in at.exception]
    return at


def words(at: AppTest) -> str:
    """Give all that is said on a page, as people read it: escapes taken away."""
    said = [*at.text, *at.markdown, *at.info, *at.warning, *at.error, *at.success, *at.subheader]
    return re.sub(r"\\(.)", r"\1", "\n".join(str(one.value) for one in said))


def frames(at: AppTest) -> list[pd.DataFrame]:
    return [pd.DataFrame(one.value) for one in at.dataframe]


def press(at: AppTest, start: str) -> AppTest:
    """Press the button whose key begins so."""
    [button] = [one for one in at.button if str(one.key).startswith(start)]
    button.click().run()
    assert not at.exception, [one.value for one in at.exception]
    return at


def tagging(placement: str = "SK-OPEN", **state: object) -> AppTest:
    return opened("tag", **{"own_tagger": "Thandi", "own_placement": placement} | state)


def told(at: AppTest) -> dict[str, Any]:
    """Give what the Tag page tells its viewer."""
    told: list[dict[str, Any]] = [json.loads(one.proto.json) for one in at.get("bidi_component")]
    [data] = [one for one in told if "ticket" in one]
    return data


def signed_in(page: str, who: str, **state: object) -> AppTest:
    """Open a page of a class server as somebody who has signed in and whose browser keeps it."""
    study = session.study()
    way = study.people.way()
    here = study.people.who(who)
    instructs = here.role is Role.INSTRUCTOR
    new = tickets.ticket_for(here.name, instructor=instructs, way=way)
    ticket = tickets.signed(new, study.ticket_secret())
    kept = {
        "own_tagger": who,
        "own_way": way,
        f"own_ticket_{here.role}_{here.name}_{way}": ticket,
        "own_cookie": ticket,
    }
    at = AppTest.from_file(str(MAIN), default_timeout=60)
    for name, value in (kept | state).items():
        at.session_state[name] = value
    at.run()
    at.switch_page(f"screens/{page}.py").run()
    assert not at.exception, [one.value for one in at.exception]
    return at

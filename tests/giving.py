"""A study with all that a package has to be careful about, of small real JPEGs; and archives."""

import csv
import hashlib
import json
import shutil
import zipfile
from collections.abc import Callable, Mapping
from datetime import datetime
from pathlib import Path
from typing import Any

from builders import write_photo

from core.archive import members
from core.logs import LogKind
from core.workspace import Workspace

SECRET_PLACE = "-26.123456", "19.654321"
SECRET_WORDS = ("Rooikrans", "Piet van Wyk", "26.123", "19.654", "Nomvula", "Lerato")
"""What must not be found in a package of the sensitive study: a site, people, a place."""
LOGS = {
    LogKind.SPECIES: (
        "key,name,scientific_name,role,sensitive\n"
        "m,Dune mouse,Mus inventus,forager,{sensitive}\n"
        "g,Rock gerbil,Gerbillus fictus,forager,\n"
        "p,Hiker,,person,\n"
        "v,Vehicle,,person,\n"
    ),
    LogKind.CAMERAS: (
        "placement,camera,trays,start,end,clock,working_at_pickup,timelapse_every_min,quiet_s,"
        "latitude,longitude,uncertainty_m,cameraHeight,habitat\n"
        "P1,cam1,T1,2026-05-04 17:45,2026-05-05 06:15,+02:00,yes,,5,"
        "-26.123456,19.654321,5,0.40,den of the clan below the krans\n"
        "P2,cam2,T2,2026-05-04 17:45,2026-05-05 06:15,+02:00,,,,-26.123556,19.654421,,,\n"
    ),
    LogKind.TRAYS: (
        "deployment,tray,set_out,picked_up,food_start_g,food_left_g,site,pair,microhabitat,"
        "condition,handler,notes\n"
        "D1,T1,2026-05-04 18:00,2026-05-05 06:00,10.0,4.2,Rooikrans,Rooikrans-N1,open,ok,"
        "Piet van Wyk,"
        '"den at -26.1234, 19.6543"\n'
        "D2,T2,2026-05-04 18:00,2026-05-05 06:00,10.0,9.9,Rooikrans,Rooikrans-N1,bush,ok,"
        "Piet van Wyk,"
        "sand was damp\n"
    ),
    LogKind.TAGS: (
        "placement,first_photo,last_photo,tagger,species,count,where,sure,also,comment\n"
        "P1,IMG_0002.JPG,IMG_0002.JPG,Nomvula,handler,,,,,\n"
        "P1,IMG_0003.JPG,IMG_0005.JPG,Nomvula,m,1,fed,,,\n"
        "P1,IMG_0006.JPG,IMG_0007.JPG,Nomvula,p,2,near,,,\n"
        "P1,IMG_0008.JPG,IMG_0011.JPG,Nomvula,g,1,on_tray,,,by 26.1234S 19.6543E\n"
        "P1,IMG_0010.JPG,IMG_0011.JPG,Nomvula,m,2,fed,,,pups behind\n"
        "P1,IMG_0012.JPG,IMG_0012.JPG,Nomvula,unknown,,on_tray,,,\n"
        "P1,IMG_0013.JPG,IMG_0013.JPG,Nomvula,blank,,,,,\n"
        "P1,IMG_0015.JPG,IMG_0015.JPG,Nomvula,handler,,,,,\n"
        "P1,IMG_0018.JPG,IMG_0018.JPG,Nomvula,v,1,near,,,\n"
        "P2,CARD_001.JPG,CARD_001.JPG,Lerato,m,1,near,,,\n"
    ),
}
SHOTS = {
    2: "04 17:50:02",
    3: "04 20:00:00", 4: "04 20:00:20", 5: "04 20:00:40",
    6: "04 21:00:00", 7: "04 21:00:05",
    8: "04 22:00:00", 9: "04 22:00:10", 10: "04 22:00:20", 11: "04 22:00:30",
    12: "04 23:00:00", 13: "05 00:00:00", 14: "05 01:00:00", 15: "05 06:10:00",
    16: "05 09:00:00", 18: "05 03:00:00",
}  # fmt: skip
"""IMG_0014 and IMG_0001 of the second card are untagged, IMG_0016 lies hours after the camera's
end; 17 is a copy of 3."""
EXPORT = """
[export]
sampling_design = "experimental"
contributors = [{ name = "A. Example", role = "contact" }]
title = "One night at ROOIKRANS"
place_precision_deg = 0.001
sensitive_precision_deg = 0.1
"""


def giving_study(folder: Path, *, sensitive: bool = False, settings: str = EXPORT) -> Workspace:
    """Make the study: one night, two cameras, two cards at the first."""
    Workspace.create(folder / "study", "Africa/Windhoek", "Night at the krans").close()
    file = folder / "study" / "study.toml"
    text = file.read_text(encoding="utf-8").partition("[export]")[0]
    file.write_text(text + settings, encoding="utf-8")
    study = Workspace.open(folder / "study")
    for kind in (LogKind.SPECIES, LogKind.CAMERAS, LogKind.TRAYS):
        study.load(kind, LOGS[kind].replace("{sensitive}", "yes" * sensitive).encode(), str(kind))
    card = folder / "card"
    for number, moment in SHOTS.items():
        shot(card / "DCIM" / f"IMG_{number:04}.JPG", f"2026-05-{moment}", number)
    shutil.copyfile(card / "DCIM" / "IMG_0003.JPG", card / "DCIM" / "IMG_0017.JPG")
    (card / "DCIM" / "notes.txt").write_text("battery changed", encoding="utf-8")
    study.scan(card, "P1")
    shot(folder / "second" / "DCIM" / "IMG_0001.JPG", "2026-05-05 02:00:00", 90)
    study.scan(folder / "second", "P1")
    shot(folder / "third" / "CARD_001.JPG", "2026-05-04 19:00:00", 91)
    write_photo(folder / "third" / "CARD_002.JPG", None, shade=92)
    study.scan(folder / "third", "P2")
    study.load(LogKind.TAGS, LOGS[LogKind.TAGS].encode(), "tags")
    return study


def shot(path: Path, moment: str, shade: int) -> None:
    """Write a photo of which the file says more than anybody else should know."""
    write_photo(path, datetime.fromisoformat(moment), shade=shade)
    whole = path.read_bytes()
    comment = b"by Piet van Wyk, D:\\cards\\piet\\den"
    segment = b"\xff\xfe" + (len(comment) + 2).to_bytes(2) + comment
    path.write_bytes(whole[:2] + segment + whole[2:])


def rows_of(package: Path, name: str) -> list[dict[str, str]]:
    """Read a table of a package."""
    with (package / f"{name}.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def described(package: Path) -> dict[str, Any]:
    """Read the descriptor of a package."""
    found: dict[str, Any] = json.loads((package / "datapackage.json").read_text(encoding="utf-8"))
    return found


def by(rows: list[dict[str, str]], column: str) -> Mapping[str, dict[str, str]]:
    """Give rows by one of their cells."""
    return {row[column]: row for row in rows}


# --- archives -------------------------------------------------------------------------------------


def read(file: Path, name: str) -> str:
    """Read a file of an archive."""
    with zipfile.ZipFile(file) as archive:
        return archive.read(name).decode("utf-8")


def rewritten(file: Path, change: Callable[[dict[str, bytes]], object]) -> Path:
    """Write an archive again with other files in it; its checksums stay as they were."""
    with zipfile.ZipFile(file) as archive:
        held = {info.filename: archive.read(info) for info in archive.infolist()}
    change(held)
    other = file.with_name("other.zip")
    other.unlink(missing_ok=True)
    with zipfile.ZipFile(other, "w") as archive:
        for name, content in held.items():
            archive.writestr(name, content)
    return other


def resealed(file: Path, name: str, content: bytes) -> Path:
    """Write an archive again with another file in it, and checksums that fit."""

    def change(held: dict[str, bytes]) -> None:
        held[name] = content
        del held[members.CHECKSUMS]
        lines = [f"{hashlib.sha256(some).hexdigest()}  {one}\n" for one, some in held.items()]
        held[members.CHECKSUMS] = "".join(lines).encode()

    return rewritten(file, change)


def with_cell(file: Path, table: str, column: str, value: object) -> Path:
    """Write an archive again with another value in the first row of a table."""
    name = members.rows_of(table)
    lines = read(file, name).splitlines()
    cells = json.loads(lines[1])
    cells[json.loads(lines[0]).index(column)] = value
    lines[1] = json.dumps(cells, ensure_ascii=False, separators=(",", ":"))
    return resealed(file, name, ("\n".join(lines) + "\n").encode())

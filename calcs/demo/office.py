"""The office's part of the demo: the home, its layout and all that ties it down, entered over the API.

Every step looks first whether its row is there, so that a second run, or one after a run that was cut off, adds only
what is missing.
"""

import uuid
from datetime import UTC, date, datetime, timedelta
from typing import Any

from calcs.demo.client import Client, RefusedError
from calcs.demo.crew import Seen, inverts_in, nearest
from calcs.demo.truth import Drain, Home, Mark, Pad, Terrace

Row = dict[str, Any]
OWNER = "the home's owner"
TODAY_FOR = timedelta(hours=6)


def enter(client: Client, home: Home) -> Row:
    """Enter a home as the office would; return what the service then has of its layout, with the siting's row."""
    row = _home(client, home)
    siting = client.only("sitings/", {**home.siting, "home": row["id"]}, home=row["id"])
    layout = client.get(f"sitings/{siting['id']}/layout/")
    if not layout["points"]:
        layout = client.post(f"sitings/{siting['id']}/layout/", home.layout).body
    _supports(client, home, layout)
    for mark in home.marks:
        if mark.label not in {each["label"] for each in layout["benchmarks"]}:
            client.post("benchmarks/", {**_mark(mark), "siting": siting["id"]})
    for connection in home.connections:
        if connection["code"] not in {each["code"] for each in layout["connections"]}:
            client.post("connections/", {**connection, "siting": siting["id"]})
    _straps(client, home, layout)
    for drain in home.drains:
        _drain(client, home, drain, layout)
    _visit(client, home, siting["id"])
    for hazard in home.hazards:
        noted = {"id": str(uuid.uuid4()), "noted_at": home.visit["starts_at"], "home": row["id"]}
        client.only("hazards/", {**noted, **hazard}, home=row["id"], kind=hazard["kind"])
    return {**client.get(f"sitings/{siting['id']}/layout/"), "home": row}


def assess(client: Client, home: Home, layout: Row) -> None:
    """Enter what made the home move, and that it may be lifted, as who leads the crew would."""
    body = {"siting": layout["siting"], **home.assessment}
    client.only("assessments/", body, siting=layout["siting"])


def note_papers(client: Client) -> None:
    """Note the company's licence, insurance and jack inspection, so that nothing but the home keeps a crew off."""
    today = date.today()
    dates = {"issued_on": str(today - timedelta(days=30)), "expires_on": str(today + timedelta(days=330))}
    for kind, number in (("licence", "RL-2207"), ("insurance", "GL-418")):
        client.only("papers/", {"kind": kind, "number": number, **dates}, kind=kind, of_company="true")
    inspected = {"kind": "jacks", "number": "set of eight", "issued_on": dates["issued_on"]}
    client.only("papers/", inspected, kind="jacks", of_company="true")


def frame_of(layout: Row) -> list[Seen]:
    """Return the points of a layout that a support stands under, as the crew sees them."""
    supported = {each["point"] for each in layout["supports"]}
    return [_seen(each) for each in layout["points"] if each["id"] in supported]


def _seen(point: Row) -> Seen:
    return Seen(
        label=point["label"],
        x_ft=float(point["x_ft"]),
        y_ft=float(point["y_ft"]),
        design_offset_in=float(point["design_offset_in"]),
    )


def _home(client: Client, home: Home) -> Row:
    customer = client.only("customers/", home.customer, name=home.customer["name"])
    row = client.only("homes/", home.home, code=home.code, archived="any")
    if row["archived_at"]:
        client.post(f"homes/{row['id']}/restore/")
    client.only("home-contacts/", {"home": row["id"], "customer": customer["id"]}, home=row["id"])
    return row


def _supports(client: Client, home: Home, layout: Row) -> None:
    """Fill in the sheet of every support that has none yet: stack, height, gap at the wedge, what is worn."""
    place = {each["id"]: each for each in layout["points"]}
    frame = frame_of(layout)
    found: dict[str, Row] = {}
    for gap in home.gaps:
        label = nearest(frame, x_ft=gap.x_ft, y_ft=gap.y_ft).label
        found[label] = {"gap_in": str(gap.by_in), "note": "wedge hangs"}
    for worn in home.worn:
        label = nearest(frame, x_ft=worn.x_ft, y_ft=worn.y_ft).label
        found[label] = {"keep_courses": worn.keep_courses, "condition": "fix", "note": worn.note}
    for sunk in home.sunk:
        label = nearest(frame, x_ft=sunk.x_ft, y_ft=sunk.y_ft).label
        found[label] = found.get(label, {}) | _standing_on(sunk.pad) | {"has_sunk": True}
    for support in layout["supports"]:
        if support["height_in"] is None:
            point = place[support["point"]]
            sheet = _sheet(home, support, float(point["x_ft"])) | found.get(point["label"], {})
            client.patch(f"supports/{support['id']}/", sheet, only_version=support["version"])


def _sheet(home: Home, support: Row, x_ft: float) -> Row:
    terraces = home.mate_line_terraces if support["kind"] == "mate_line" else home.terraces
    terrace = _terrace(terraces, x_ft)
    sheet = {"stack": list(terrace.stack), "height_in": terrace.height_in, "tier": "single"}
    return sheet if home.pad is None else sheet | _standing_on(home.pad) | _clear(terrace, home.pad)


def _standing_on(pad: Pad) -> Row:
    sides = dict.fromkeys(("footing_length_in", "footing_width_in"), pad.side_in)
    return {"footing": "precast", **sides, "footing_thickness_in": pad.thickness_in}


def _clear(terrace: Terrace, pad: Pad) -> Row:
    """Pads lie on the ground, so that the frame is clear of it by the stack and the pad; stacks stand straight."""
    return {"clearance_in": str(float(terrace.height_in) + float(pad.thickness_in)), "offset_in": "0"}


def _terrace(terraces: tuple[Terrace, ...], x_ft: float) -> Terrace:
    return next((each for each in terraces if x_ft <= each.to_x_ft), terraces[-1])


def _mark(mark: Mark) -> Row:
    return {
        "label": mark.label,
        "x_ft": str(mark.x_ft),
        "y_ft": str(mark.y_ft),
        "mark_class": mark.mark_class,
        "description": mark.description,
    }


def _straps(client: Client, home: Home, layout: Row) -> None:
    key = {each["label"]: each["id"] for each in layout["points"]}
    there = {each["code"] for each in layout["straps"]}
    frame = frame_of(layout)
    for strap in home.straps:
        if strap.code not in there:
            body = {
                "siting": layout["siting"],
                "code": strap.code,
                "point": key[nearest(frame, x_ft=strap.x_ft, y_ft=strap.y_ft).label],
                "run_in": strap.run_in,
                "rise_in": strap.rise_in,
                "slack_in": strap.slack_in,
                "wraps": "3",
            }
            client.post("straps/", body)


def _drain(client: Client, home: Home, drain: Drain, layout: Row) -> None:
    there = {each["code"]: each["id"] for each in layout["drain_runs"]}
    fields = ("code", "diameter_in", "has_cleanout", "rehang_min", "note")
    body = {"siting": layout["siting"], **{name: getattr(drain, name) for name in fields}}
    run = there.get(drain.code) or client.post("drain-runs/", body).body["id"]
    measured = {float(each["at_ft"]) for each in layout["drain_nodes"] if each["run"] == run}
    for (at_ft, x_ft, y_ft), invert_in in zip(drain.nodes, inverts_in(home, drain), strict=True):
        if at_ft not in measured:
            place = {"at_ft": str(at_ft), "x_ft": str(x_ft), "y_ft": str(y_ft)}
            client.post("drain-nodes/", {"run": run, **place, "invert_in": str(invert_in)})


def _visit(client: Client, home: Home, siting: str) -> None:
    client.only("visits/", {**home.visit, **_who(client, home), "siting": siting}, siting=siting)


def _who(client: Client, home: Home) -> Row:
    people = {name: client.all("users/", username=name)[0]["id"] for name in (home.lead, *home.crew)}
    return {"lead": people[home.lead], "crew": [people[name] for name in home.crew]}


def send_today(client: Client, home: Home, siting: str) -> None:
    """Send the crew there today as well, so that a phone's field page has something to load.

    A crew that is booked elsewhere by now has that to load.
    """
    begins = datetime.now(UTC).replace(minute=0, second=0, microsecond=0)
    visits = client.all("visits/", siting=siting)
    if str(begins.date()) not in {str(visit["starts_at"])[:10] for visit in visits}:
        times = {"starts_at": begins.isoformat(), "ends_at": (begins + TODAY_FOR).isoformat()}
        why = {"kind": "releveling", "note": "To try the field page.", "despite": ["holiday", "same_home"]}
        try:
            client.post("visits/", {"siting": siting, **_who(client, home), **times, **why})
        except RefusedError as refused:
            if refused.code != "conflict":
                raise


def link_for_owner(client: Client, siting: str) -> str:
    """Return the address of a new link for the owner of the home; that of an earlier run is taken back."""
    home = client.get(f"sitings/{siting}/")["home"]
    for link in client.all("signed-links/", home=home):
        if (link["holder"], link["state"]) == (OWNER, "open"):
            client.send("DELETE", f"signed-links/{link['id']}/")
    made = client.post("signed-links/", {"home": home, "audience": "homeowner", "holder": OWNER, "days": 7}).body
    return str(made["link"])

"""Homes with their places as a file: one line a home at a place. A home that was moved has several lines."""

from collections.abc import Iterable, Mapping
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from jobs.csv_files.run import Given, Kind, Row, Writing, handles_files
from jobs.csv_files.text import Line
from jobs.csv_files.values import ABSENT, Column, column_of
from jobs.models import Home, RuleSet, Siting, User
from jobs.rights import Act, may

_OF_HOME = (
    *("name", "kind", "sections", "width_ft", "length_ft", "built_on", "label_number", "data_plate", "wall_finish"),
    *("roof_live_psf", "wind_zone", "soil_class", "beam_i_in4", "beam_section_modulus_in3", "beam_load_lb_per_ft"),
    *("land_owner", "has_foundation_letter", "access_notes"),
)
_NEEDED = ("kind", "width_ft", "length_ft")
_OF_PLACE = ("address", "from_on", "to_on", "marked_end", "north_deg", "latitude_deg", "longitude_deg")
_RULE_SET = Column(
    name="rule_set",
    allowed=gettext_lazy("a rule set as the record names it, such as “county, version 1”"),
    empty=None,
)
COLUMNS = (
    column_of(Home, "code", required=True),
    *(column_of(Home, name) for name in _OF_HOME),
    _RULE_SET,
    column_of(Home, "archived_at"),
    *(column_of(Siting, name) for name in _OF_PLACE),
    column_of(Home, "home_id", field="id"),
    column_of(Siting, "siting_id", field="id"),
)


def _give(by: User, given: Given) -> Iterable[Mapping[str, Any]]:
    homes = Home.objects.visible_to(by)
    if code := given.get("home"):
        homes = homes.filter(code=code)
    places = [f"sitings__{name}" for name in (*_OF_PLACE, "id")]
    rules = ("rule_set__name", "rule_set__version")
    rows = homes.order_by("code", "sitings__from_on").values("id", "code", *_OF_HOME, "archived_at", *rules, *places)
    for row in rows.iterator():
        yield {
            **row,
            **{name: row[f"sitings__{name}"] for name in _OF_PLACE},
            "rule_set": row["rule_set__name"] and str(RuleSet(name=row[rules[0]], version=row[rules[1]])),
            "home_id": row["id"],
            "siting_id": row["sitings__id"],
        }


def _take(writing: Writing, rows: list[Row]) -> None:
    homes = _Homes(writing, rows)
    found = [(line, values, homes.home(line, values)) for line, values in rows]
    for line, values, home in found:
        if home is not None:
            homes.place(line, home, values)


class _Homes:
    """The homes and places that a file is about, locked, and those that it adds."""

    def __init__(self, writing: Writing, rows: list[Row]) -> None:
        self.writing = writing
        codes = {values["code"] for _line, values in rows}
        stored = Home.objects.filter(code__in=codes).select_for_update(no_key=True).order_by("pk")
        self.homes = {home.code: home for home in stored}
        places = Siting.objects.filter(home__in=self.homes.values()).select_for_update(no_key=True, of=("self",))
        self.places = {(place.home_id, place.from_on): place for place in places.order_by("pk")}
        by_key = {home.pk: home for home in self.homes.values()}
        for place in self.places.values():
            place.home = by_key[place.home_id]
        self.rule_sets = {str(rules): rules for rules in RuleSet.objects.all()}
        self.met: dict[str, tuple[int, dict[str, Any]]] = {}  # what the first line of a home says of it
        self.places_met: dict[Any, int] = {}

    def home(self, line: Line, values: Mapping[str, Any]) -> Home | None:
        """Add or change the home of a line; None when the line is refused."""
        code = values["code"]
        said = self._said_of_home(line, values)
        if said is None:
            return None
        if code in self.met:
            return self._again(line, code, said)
        self.met[code] = (line.number, said)
        home = self.homes.get(code)
        if home is None:
            return self._new(line, code, said)
        if said.pop("id", home.pk) != home.pk:
            self.writing.refuse(line.number, "home_id", _("The home with this code has another key."))
            return None
        self.writing.change(line.number, "home", home, said)
        return home

    def place(self, line: Line, home: Home, values: Mapping[str, Any]) -> None:
        """Add or change the place of a line, when it names one."""
        said = {name: values[name] for name in _OF_PLACE if name in values}
        if not any(said.values()):
            return
        if not said.get("from_on"):
            self.writing.refuse(line.number, "from_on", _("Say from which day the home stands at this place."))
            return
        found = self.places.get((home.pk, said["from_on"]))
        place = found or Siting(home=home, **said, **_key(values, "siting_id"))
        first = self.places_met.setdefault((home.pk, said["from_on"]), line.number)
        if first != line.number:
            message = _("This home stands somewhere from this day already, in line %(line)d.")
            self.writing.refuse(line.number, "from_on", message % {"line": first})
        elif found is None and not said.get("address"):
            self.writing.refuse(line.number, "address", _("Give the address of this place."))
        elif found is None:
            self.writing.add(line.number, "place", place)
        elif values.get("siting_id", place.pk) != place.pk:
            self.writing.refuse(line.number, "siting_id", _("The home's place from this day has another key."))
        else:
            self.writing.change(line.number, "place", place, said)

    def _said_of_home(self, line: Line, values: Mapping[str, Any]) -> dict[str, Any] | None:
        said = {name: values[name] for name in (*_OF_HOME, "archived_at") if name in values}
        said |= _key(values, "home_id")
        name = values.get("rule_set", ABSENT)
        if name is not ABSENT:
            said["rule_set"] = self.rule_sets.get(name) if name else None
            if name and said["rule_set"] is None:
                known = ", ".join(f"“{known}”" for known in self.rule_sets) or _("none")
                message = _("There is no such rule set; there are: %(known)s.") % {"known": known}
                self.writing.refuse(line.number, "rule_set", message)
                return None
        return said

    def _again(self, line: Line, code: str, said: dict[str, Any]) -> Home | None:
        first, before = self.met[code]
        different = [name for name in said if name in before and said[name] != before[name]]
        for name in different:
            message = _("Line %(line)d says otherwise of this home.") % {"line": first}
            self.writing.refuse(line.number, name, message)
        return None if different else self.homes.get(code)

    def _new(self, line: Line, code: str, said: dict[str, Any]) -> Home | None:
        absent = [name for name in _NEEDED if said.get(name) is None]
        for name in absent:
            self.writing.refuse(line.number, name, _("A new home needs this."))
        if absent:
            return None
        home = Home(code=code, **said)
        self.homes[code] = home
        self.writing.add(line.number, "home", home)
        return home


def _key(values: Mapping[str, Any], column: str) -> dict[str, Any]:
    return {"id": values[column]} if column in values else {}


def _may_import(user: User) -> bool:
    return all(may(user, act, Home) for act in (Act.ADD, Act.CHANGE, Act.ARCHIVE))


HOMES = Kind(
    name="homes",
    title=gettext_lazy("Homes"),
    about=gettext_lazy("One line a home at a place. Known again by the home's code and the day the place begins."),
    columns=COLUMNS,
    take=_take,
    give=_give,
    may_import=_may_import,
    may_export=handles_files,
    cut_by=("home",),
)

"""The shell: one version of the page lies on the phone, opens without a network, gives way to a newer one."""

import base64
import datetime
import gzip
import json
import re
from collections.abc import Callable, Iterator
from typing import Any

import pytest
from django.http import JsonResponse
from django.test import Client
from playwright.sync_api import Page, expect

from jobs.models import User
from surveys import field
from tests.factories import UserFactory, VisitFactory
from tests.surveys.field.conftest import OpenPhone
from tests.surveys.field.phones import Phone
from tests.surveys.field.world import FieldWorld

World = Callable[..., FieldWorld]
HOME = "Tamsin home"
READY = re.compile("A new version of this page is ready")


def loaded(phone: Phone) -> Page:
    """Wait until the visits of today lie on the phone, and the page too."""
    expect(phone.page.get_by_role("link", name=HOME)).to_be_visible()
    phone.keep()
    return phone.page


# -- without a network -----------------------------------------------------------------------------------------


def test_it_opens_without_a_network_after_all_its_processes_were_killed(
    open_phone: OpenPhone, field_world: World
) -> None:
    phone = open_phone(field_world().crew, has_own_disk=True)
    loaded(phone)
    phone.cut()
    phone.kill()
    page = phone.reopen()
    expect(page.get_by_role("link", name=HOME)).to_be_visible()
    expect(page.locator("#person")).to_have_text("Ana Ruelas")


def test_every_screen_is_there_without_a_network(open_phone: OpenPhone, field_world: World) -> None:
    phone = open_phone(field_world().crew)
    page = loaded(phone)
    phone.cut()
    page.reload()
    screens = [path.stem for path in (field.FOLDER / "screens").glob("*.js")]
    fetch = "(names) => Promise.all(names.map((name) => import(`/static/surveys/field/screens/${name}.js`)))"
    assert len(page.evaluate(fetch, screens)) == len(screens)


def test_signed_out_it_shows_what_it_holds_and_says_so(open_phone: OpenPhone, field_world: World) -> None:
    phone = open_phone(field_world().crew)
    page = loaded(phone)
    phone.sign_out()
    page.reload()
    expect(page.locator("#person")).to_have_text("Ana Ruelas, signed out")
    expect(page.get_by_role("link", name=HOME)).to_be_visible()
    expect(page.get_by_role("link", name="Sign in")).to_have_attribute("href", "/sign-in/?next=/field/")
    page.get_by_role("button", name="Load today and tomorrow").click()
    expect(page.get_by_text("Nobody is signed in: sign in, then load.")).to_be_visible()
    expect(page.get_by_role("link", name=HOME)).to_be_visible()


def test_another_person_does_not_see_the_visits_of_the_one_before(open_phone: OpenPhone, field_world: World) -> None:
    world = field_world()
    phone = open_phone(world.crew)
    page = loaded(phone)
    phone.sign_out()
    phone.sign_in(UserFactory(username="other", first_name="Oscar", roles=["crew"]))
    page.reload()
    expect(page.locator("#person")).to_have_text("Oscar")
    expect(page.get_by_role("link", name=HOME)).to_be_hidden()
    homes = phone.module("store", "async (store) => (await store.all('days')).flatMap((day) => day.places)")
    assert homes == []


def test_loading_is_told_step_by_step_and_a_dead_server_leaves_what_is_there(
    open_phone: OpenPhone, field_world: World
) -> None:
    phone = open_phone(field_world().crew)
    page = loaded(phone)
    phone.wire.is_cut = True  # the phone itself believes that it has a network
    page.get_by_role("button", name="Load today and tomorrow").click()
    expect(page.get_by_text("The server can't be reached. What was loaded before is still here.")).to_be_visible()
    expect(page.get_by_role("link", name=HOME)).to_be_visible()
    phone.wire.is_cut = False
    steps = phone.module(
        "days", "async (days) => { const told = []; await days.load((...step) => told.push(step)); return told; }"
    )
    assert [step for n, step in enumerate(steps) if n in (0, len(steps) - 1)] == [[0, 4], [4, 4]]
    held = phone.module("store", "async (store) => (await store.all('days')).map((day) => day.key)")
    assert len(held) == 4
    assert {key.split("|")[1] for key in held} == {"en", "es"}


def test_a_clock_that_is_wrong_is_told_and_hides_no_visit(open_phone: OpenPhone, field_world: World) -> None:
    phone = open_phone(field_world().crew, clock_ahead=datetime.timedelta(days=-3, hours=-2))
    page = loaded(phone)
    page.reload()
    expect(page.get_by_text(re.compile(r"clock is 4,?4\d\d minutes behind: set it right"))).to_be_visible()
    expect(page.get_by_text("Nothing is loaded for today, by this phone's clock.")).to_be_visible()
    expect(page.get_by_role("link", name=HOME)).to_be_visible()


# -- versions --------------------------------------------------------------------------------------------------


@pytest.fixture
def newer(monkeypatch: pytest.MonkeyPatch) -> Iterator[Callable[[], str]]:
    """Have the server serve a newer version of the shell from then on; return what it is called."""
    page = field._page

    def release() -> str:
        monkeypatch.setattr(field, "_page", lambda: page() + b"<!-- newer -->")
        return field.version_of(field.pack())

    return release


def look_for_a_newer_one(page: Page) -> None:
    """Have the browser look, as it does each hour, and wait until it has it whole."""
    page.evaluate(
        """async () => {
          const registration = await navigator.serviceWorker.ready;
          await registration.update();
          for (let tries = 0; tries < 1000 && !registration.waiting; tries++) {
            await new Promise((done) => setTimeout(done, 20));
          }
          if (!registration.waiting) throw new Error("no newer version came");
        }"""
    )


def test_a_newer_version_waits_until_it_is_asked_for(
    open_phone: OpenPhone, field_world: World, newer: Callable[[], str]
) -> None:
    phone = open_phone(field_world().crew)
    page = loaded(phone)
    page.reload()
    release = newer()
    look_for_a_newer_one(page)
    expect(page.get_by_text(READY)).to_be_visible()
    assert "newer" not in page.evaluate("async () => (await fetch('/field/')).text()")
    page.get_by_role("button", name="Use it now").click()
    expect(page.get_by_text(READY)).to_be_hidden()
    phone.go("settings")
    expect(page.get_by_text(f"Version {release}")).to_be_visible()
    expect(page.get_by_text(READY)).to_be_hidden()
    assert page.evaluate("() => caches.keys()") == [f"field-{release}"]


def test_a_newer_version_is_used_at_the_next_start(
    open_phone: OpenPhone, field_world: World, newer: Callable[[], str]
) -> None:
    phone = open_phone(field_world().crew)
    page = loaded(phone)
    page.reload()
    release = newer()
    look_for_a_newer_one(page)
    expect(page.get_by_text(READY)).to_be_visible()
    page.close()
    page = phone.reopen("settings")
    expect(page.get_by_text(f"Version {release}")).to_be_visible()


def test_while_something_is_typed_the_page_stays_as_it_is(
    open_phone: OpenPhone, field_world: World, newer: Callable[[], str]
) -> None:
    phone = open_phone(field_world().crew)
    page = loaded(phone)
    phone.go("settings")
    page.evaluate("() => { globalThis.isTheSamePage = true; }")
    phone.module("app", "({ app }) => { app.isBusy = () => true; }")
    newer()
    look_for_a_newer_one(page)
    page.evaluate(
        """async () => {
          const changed = new Promise((done) => { navigator.serviceWorker.oncontrollerchange = done; });
          const { waiting } = await navigator.serviceWorker.ready;
          waiting.postMessage("use");
          await changed;
        }"""
    )
    assert page.evaluate("() => globalThis.isTheSamePage === true")
    phone.go("")  # the next screen is the newer page's
    expect(page.get_by_role("link", name=HOME)).to_be_visible()
    assert page.evaluate("() => globalThis.isTheSamePage === undefined")


def test_half_of_a_release_is_not_kept(
    open_phone: OpenPhone, field_world: World, newer: Callable[[], str], monkeypatch: pytest.MonkeyPatch
) -> None:
    phone = open_phone(field_world().crew)
    page = loaded(phone)
    newer()
    old = {"version": "of the release before"}
    monkeypatch.setattr(field, "JsonResponse", lambda told, **more: JsonResponse({**told, **old}, **more))
    failed = page.evaluate(
        """async () => {
          const registration = await navigator.serviceWorker.ready;
          const ended = new Promise((done) => registration.addEventListener("updatefound", () => {
            const { installing } = registration;
            installing.addEventListener("statechange", () => done(installing.state));
          }));
          await registration.update().catch(() => {});
          return Promise.race([ended, new Promise((done) => setTimeout(done, 10000, "nothing came"))]);
        }"""
    )
    assert failed == "redundant"
    page.reload()
    expect(page.get_by_role("link", name=HOME)).to_be_visible()


class TestWhatIsServed:
    def told(self, client: Client) -> dict[str, Any]:
        script = client.get("/field/worker.js")
        assert script["Content-Type"].startswith("text/javascript")
        assert script["Cache-Control"] == "no-cache"
        first, _ = script.content.decode().split("\n", 1)
        told: dict[str, Any] = json.loads(first.removeprefix("const SHELL = ").removesuffix(";"))
        return told

    def test_the_pack_holds_every_file_and_the_worker_knows_it(self, client: Client) -> None:
        answer = client.get("/field/shell.json", headers={"accept-encoding": "gzip"})
        assert answer["Content-Encoding"] == "gzip"
        pack = json.loads(gzip.decompress(answer.content))
        told = self.told(client)
        assert told == {"version": pack["version"], "addresses": sorted(pack["files"])}
        files = {path.relative_to(field.FOLDER).as_posix() for path in field.FOLDER.rglob("*.*")} - field.NOT_PACKED
        of_files = {f"/static/surveys/field/{name}" for name in files}
        assert set(pack["files"]) == of_files | {"/field/", "/field/words/es.json"}
        for address in ("/field/", "/field/words/es.json"):
            assert pack["files"][address]["text"] == client.get(address).content.decode()
        icon = pack["files"]["/static/surveys/field/icon-192.png"]
        assert base64.b64decode(icon["base64"]) == (field.FOLDER / "icon-192.png").read_bytes()

    def test_the_version_follows_from_the_contents(self, client: Client, monkeypatch: pytest.MonkeyPatch) -> None:
        before = self.told(client)["version"]
        assert self.told(client)["version"] == before
        monkeypatch.setattr(field, "_words", lambda language: b"{}")
        assert self.told(client)["version"] != before

    def test_comments_are_left_out_and_lines_stay(self) -> None:
        source = (
            '// why\nconst a = "/ // not"; // goes\n/**\n * Told.\n */\nb();\n  /* one */\nc(`x // y`); // d\'s\n'
        )
        lean = '\nconst a = "/ // not";\n\n\n\nb();\n\nc(`x // y`); // d\'s\n'
        assert field.without_comments(source) == lean

    def test_no_text_over_several_lines_holds_what_looks_like_a_comment(self) -> None:
        """Between backticks a line that begins like a comment would be lost: there is none."""
        for path in field.FOLDER.rglob("*.js"):
            lean = re.sub(r'"(?:[^"\\\n]|\\.)*"|//[^\n]*', "", field.without_comments(path.read_text()))
            assert lean.count("`") % 2 == 0, path
            assert path.read_text().count("`") - lean.count("`") <= path.read_text().count("`"), path

    def test_no_text_runs_over_lines_as_lines_are_sent_without_what_sets_them_in(self) -> None:
        for path in field.FOLDER.rglob("*.js"):
            lean = re.sub(r'"(?:[^"\\\n]|\\.)*"|//[^\n]*', "", field.without_comments(path.read_text()))
            assert [line for line in lean.splitlines() if line.count("`") % 2] == [], path
        script = field.pack()["/static/surveys/field/dom.js"]["text"]
        assert not re.search(r"^[ \t]", script, re.MULTILINE)

    @pytest.mark.django_db
    def test_the_shell_is_the_same_for_everybody(self, client: Client, client_for: Any, crew: Any) -> None:
        spanish = client.get("/field/", headers={"accept-language": "es"})
        assert spanish.content == client_for(crew).get("/field/").content == field._page()
        assert not spanish.cookies


# -- what it keeps ---------------------------------------------------------------------------------------------


MORE = """
  (db, transaction) => {
    db.createObjectStore("more");
    transaction.objectStore("entries").createIndex("kind", "kind");
  },
];"""


def test_an_upgrade_of_the_store_keeps_what_was_entered(open_phone: OpenPhone, field_world: World) -> None:
    """The next version of the page has one more step; an entry of this one goes through it."""
    phone = open_phone(field_world().crew)
    page = loaded(phone)
    entry = phone.module("outbox", "(outbox) => outbox.add('head_count', { person_name: 'Ana' }, { visit: 'v1' })")
    now = (field.FOLDER / "store.js").read_text()
    assert now.count("\n];") == 1
    with_more = now.replace("\n];", MORE)
    page.route("**/store-next.js", lambda route: route.fulfill(body=with_more, content_type="text/javascript"))
    kept = page.evaluate(
        """async () => {
          const next = await import("/static/surveys/field/store-next.js");
          return [await next.all("entries", "kind", "head_count"), await next.all("more")];
        }"""
    )
    assert [row["id"] for row in kept[0]] == [entry["id"]]
    assert kept[1] == []
    # This page, which is older now, says what to do and loses nothing.
    page.evaluate("() => { location.hash = '#/settings'; }")
    expect(page.get_by_role("alert")).to_contain_text("A newer version of this page is open in another window")
    phone.errors.clear()


@pytest.mark.django_db
def test_crews_find_it_and_the_office_does_not_need_it(client_for: Any, crew: User, office: User) -> None:
    visit = VisitFactory()
    visit.crew.add(crew)
    at_visit, own = f'href="/field/#/visit/{visit.pk}"', 'href="/field/"'
    page = client_for(crew).get(f"/visits/{visit.pk}/").content.decode()
    assert at_visit in page
    assert own in page
    page = client_for(office).get(f"/visits/{visit.pk}/").content.decode()
    assert "/field/" not in page

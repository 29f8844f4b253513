"""The shell: one version of the page lies on the phone, opens without a network, gives way to a newer one."""

from collections.abc import Callable

from playwright.sync_api import expect

from tests.surveys.field.conftest import OpenPhone
from tests.surveys.field.world import FieldWorld

World = Callable[..., FieldWorld]


def test_it_opens_without_a_network(open_phone: OpenPhone, field_world: World) -> None:
    world = field_world()
    phone = open_phone(world.crew)
    phone.keep()
    expect(phone.page.get_by_role("link", name="Tamsin home")).to_be_visible()
    phone.cut()
    phone.kill()
    phone.reopen()
    expect(phone.page.get_by_role("link", name="Tamsin home")).to_be_visible()
    expect(phone.page.locator("#person")).to_have_text("Ana Ruelas")

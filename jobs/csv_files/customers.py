"""Customers as a file: one line a customer, known again by key, by e-mail, or by name and phone."""

from collections.abc import Iterable, Mapping
from typing import Any

from django.db.models import Q
from django.db.models.functions import Lower
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from jobs.csv_files.run import Given, Kind, Row, Writing
from jobs.csv_files.values import column_of
from jobs.models import Customer, User
from jobs.rights import Act, may

FIELDS = ("phone", "email", "language", "postal_address", "notes", "archived_at", "id")
COLUMNS = (column_of(Customer, "name", required=True), *(column_of(Customer, name) for name in FIELDS))


def _give(by: User, given: Given) -> Iterable[Mapping[str, Any]]:
    customers = Customer.objects.visible_to(by).filter(erased_at__isnull=True).order_by("id")
    yield from customers.values(*(column.name for column in COLUMNS)).iterator()


def _take(writing: Writing, rows: list[Row]) -> None:
    known = _Known(rows)
    first_lines: dict[Any, int] = {}
    for line, values in rows:
        found = known.of(values)
        if len(found) > 1:
            writing.refuse(line.number, "id", _("More than one customer fits: give the key that an export gives."))
            continue
        customer = found[0] if found else Customer(**values)
        first = first_lines.setdefault(customer.pk, line.number)
        if first != line.number:
            writing.refuse(line.number, "", _("This is the same customer as in line %(line)d.") % {"line": first})
        elif not found:
            writing.add(line.number, "customer", customer)
            known.add(customer)
        elif customer.erased_at is not None:
            writing.refuse(line.number, "id", _("This customer's data was erased on request."))
        else:
            writing.change(line.number, "customer", customer, values)


class _Known:
    """The customers that the lines of a file may mean, locked; new ones join as they are met."""

    def __init__(self, rows: list[Row]) -> None:
        self.by_key: dict[Any, Customer] = {}
        self.by_email: dict[str, list[Customer]] = {}
        self.by_name: dict[tuple[str, str], list[Customer]] = {}
        cells = [values for _line, values in rows]
        emails = {values["email"].lower() for values in cells if values.get("email")}
        meant = Customer.objects.annotate(lower=Lower("email")).filter(
            Q(pk__in={values["id"] for values in cells if values.get("id")})
            | Q(archived_at__isnull=True, lower__in=emails)
            | Q(archived_at__isnull=True, name__in={values["name"] for values in cells})
        )
        for customer in meant.select_for_update(no_key=True).order_by("pk"):
            self.add(customer)

    def add(self, customer: Customer) -> None:
        """Let later lines mean this customer."""
        self.by_key[customer.pk] = customer
        if customer.archived_at is None:
            self.by_name.setdefault((customer.name, customer.phone), []).append(customer)
            if customer.email:
                self.by_email.setdefault(customer.email.lower(), []).append(customer)

    def of(self, values: Mapping[str, Any]) -> list[Customer]:
        """Return the customers that a line fits."""
        if values.get("id"):
            return [self.by_key[values["id"]]] if values["id"] in self.by_key else []
        email = values.get("email", "").lower()
        if email in self.by_email:
            return self.by_email[email]
        same_name = self.by_name.get((values["name"], values.get("phone", "")), [])
        return [customer for customer in same_name if not (email and customer.email)]


def _may_import(user: User) -> bool:
    return all(may(user, act, Customer) for act in (Act.ADD, Act.CHANGE, Act.ARCHIVE))


CUSTOMERS = Kind(
    name="customers",
    title=gettext_lazy("Customers"),
    about=gettext_lazy("One line a customer. Known again by key, by e-mail, or by name and phone."),
    columns=COLUMNS,
    take=_take,
    give=_give,
    may_import=_may_import,
    may_export=lambda user: may(user, Act.SEE, Customer),
)

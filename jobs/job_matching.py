"""Homes, customers and earlier jobs on record that an enquiry may be about: found by address, telephone and name."""

import re
from collections.abc import Iterable

from django.db.models import CharField, F, Func, Q, QuerySet

from jobs.models import Customer, Home, Job, Siting

MATCHES_SHOWN = 10
LEAST_DIGITS = 7  # of a telephone number; fewer would match anybody
LEAST_LETTERS = 5  # of an address

# Words of addresses as they are often shortened, after the list of the United States Postal Service (Publication 28,
# appendices B and C); from memory.
SHORT = {
    **{"alley": "aly", "avenue": "ave", "boulevard": "blvd", "circle": "cir", "court": "ct", "cove": "cv"},
    **{"creek": "crk", "crossing": "xing", "drive": "dr", "estates": "ests", "heights": "hts", "highway": "hwy"},
    **{"hills": "hls", "lane": "ln", "loop": "lp", "parkway": "pkwy", "place": "pl", "point": "pt", "ridge": "rdg"},
    **{"road": "rd", "route": "rte", "square": "sq", "street": "st", "terrace": "ter", "trail": "trl"},
    **{"apartment": "apt", "space": "spc", "trailer": "trlr", "mount": "mt", "saint": "st", "county": "co"},
    **{"north": "n", "south": "s", "east": "e", "west": "w"},
    **{"northeast": "ne", "northwest": "nw", "southeast": "se", "southwest": "sw"},
}


class Digits(Func):
    """What is left of a text without all that is no digit."""

    function = "regexp_replace"
    template = "%(function)s(%(expressions)s, '\\D', '', 'g')"
    output_field = CharField()


def digits_of(phone: str) -> str:
    """Return a telephone number as it is compared: its digits, at most the last ten."""
    return "".join(one for one in phone if one.isdigit())[-10:]


def customers_like(job: Job) -> QuerySet[Customer]:
    """Return customers who go by the caller's telephone number, e-mail address or name."""
    phone, email, name = digits_of(job.caller_phone), job.caller_email.strip(), job.caller_name.strip()
    same = Q(pk__in=[])
    if len(phone) >= LEAST_DIGITS:
        same |= Q(digits__endswith=phone)
    if email:
        same |= Q(email__iexact=email)
    if name:
        same |= Q(name__iexact=name)
    rows = Customer.objects.standing().annotate(digits=Digits(F("phone"))).filter(same)
    return rows.order_by("name", "pk")


def words_of(address: str) -> list[str]:
    """Return the words and numbers of an address as they are compared: whole, in lower case, shortened as usual."""
    return [SHORT.get(word, word) for word in re.findall(r"\w+", address.casefold())]


def homes_like(job: Job) -> QuerySet[Home]:
    """Return homes that stand at the address, or that the caller has to do with."""
    same = Q(contacts__customer__in=customers_like(job).values("pk"), contacts__to_on__isnull=True)
    same |= Q(pk__in=_homes_near(job.address))
    return Home.objects.standing().filter(same).distinct().order_by("code")


def _homes_near(address: str) -> list[object]:
    """Return the keys of homes whose address has all that was typed in it, or is how that begins: by whole words."""
    typed = words_of(address)
    if not typed or len(address.strip()) < LEAST_LETTERS:
        return []
    spelt = "|".join([typed[0], *(long for long, short in SHORT.items() if short == typed[0])])
    rows = Siting.objects.filter(to_on__isnull=True, address__iregex=rf"\y({spelt})\y").values_list("home", "address")
    return [home for home, known in rows if _is_near(typed, words_of(known))]


def _is_near(typed: list[str], known: list[str]) -> bool:
    starts = range(len(known) - len(typed) + 1)
    return typed[: len(known)] == known or any(known[at : at + len(typed)] == typed for at in starts)


def home_of(job: Job, homes: Iterable[Home]) -> Home | None:
    """Return the one of these homes that a job is about beyond doubt: it names it, or no other is at its address."""
    if job.home is not None:
        return job.home
    typed = words_of(job.address)
    at_it = [
        home
        for home in homes
        if typed and any(one.to_on is None and words_of(one.address) == typed for one in home.sitings.all())
    ]
    return at_it[0] if len(at_it) == 1 else None


def customer_of(job: Job) -> Customer | None:
    """Return the customer that a job is for beyond doubt: it names one, or only one goes by what the caller said."""
    like = list(customers_like(job)[:2])
    return job.customer or (like[0] if len(like) == 1 else None)


def jobs_under_warranty(job: Job) -> QuerySet[Job]:
    """Return the jobs at the same home whose warranty held when this one was asked for, newest first.

    This one may be a call-back of one of them. There are none for one that is over, or that names its job already.
    """
    is_closed = job.state in (Job.State.DONE, Job.State.DECLINED)
    if job.home_id is None or job.call_back_of_id is not None or is_closed:
        return Job.objects.none()
    return Job.objects.under_warranty(job.asked_on).filter(home=job.home_id).exclude(pk=job.pk).order_by("-done_on")

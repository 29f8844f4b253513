"""Homes, customers and earlier jobs on record that an enquiry may be about: found by address, telephone and name."""

from django.db.models import CharField, F, Func, Q, QuerySet, Value

from jobs.models import Customer, Home, Job

MATCHES_SHOWN = 10
LEAST_DIGITS = 7  # of a telephone number; fewer would match anybody
LEAST_LETTERS = 5  # of an address


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


def homes_like(job: Job) -> QuerySet[Home]:
    """Return homes that stand at the address, or that the caller has to do with."""
    same = Q(contacts__customer__in=customers_like(job).values("pk"), contacts__to_on__isnull=True)
    typed = job.address.strip()
    if len(typed) >= LEAST_LETTERS:
        here = Q(sitings__address__icontains=typed) | Q(typed__istartswith=F("sitings__address"))
        same |= here & Q(sitings__to_on__isnull=True)
    rows = Home.objects.standing().annotate(typed=Value(typed, output_field=CharField())).filter(same)
    return rows.distinct().order_by("code")


def jobs_under_warranty(job: Job) -> QuerySet[Job]:
    """Return the jobs at the same home whose warranty held when this one was asked for, newest first.

    This one may be a call-back of one of them. There are none for one that is over, or that names its job already.
    """
    is_closed = job.state in (Job.State.DONE, Job.State.DECLINED)
    if job.home_id is None or job.call_back_of_id is not None or is_closed:
        return Job.objects.none()
    return Job.objects.under_warranty(job.asked_on).filter(home=job.home_id).exclude(pk=job.pk).order_by("-done_on")

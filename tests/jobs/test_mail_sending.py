"""Sending mail to a real server on this machine that refuses, hangs up, dies and comes back: nothing is lost.

What a server's codes mean: RFC 5321, sections 4.2.1 (4yz and 5yz) and 3.8 (421). Why a message whose answer was lost
is sent again, and may arrive twice: RFC 1047.
"""

import datetime
import threading
from collections.abc import Callable
from typing import Any

import pytest
from django.conf import LazySettings
from django.core import mail as django_mail
from django.db import IntegrityError, connection, transaction
from django.utils import timezone

from jobs import mail_sending
from jobs.errors import DomainError
from jobs.mails import BY_HAND, TOO_LATE, stop, tell, try_again
from jobs.models import Mail, User
from jobs.project.celery import app
from jobs.project.pytest_services import RealWorker
from jobs.tasks import send_mail
from tests.factories import CustomerFactory, HomeContactFactory, MailFactory, VisitFactory
from tests.jobs.smtp_server import MailServer, mail_server
from tests.project.running import wait_until

__all__ = ["mail_server"]
pytestmark = pytest.mark.django_db
HOUR = datetime.timedelta(hours=1)
MINUTE = datetime.timedelta(minutes=1)


def when_it_is_time() -> None:
    """Let what waits be tried now, and go round once."""
    Mail.objects.filter(state="waiting").update(next_try_at=timezone.now() - MINUTE)
    send_mail()


def seen(mail: Mail) -> tuple[str, int, bool]:
    mail.refresh_from_db()
    return mail.state, mail.tries, mail.is_unsure


def test_a_message_arrives_as_it_was_written(mail_server: MailServer) -> None:
    body = "Señora Núñez:\n\n" + "á" * 2000 + "\n.\n..\nFrom here on\nAdiós"
    mail = MailFactory(subject="Su visita: ¡mañana!", body=body, language="es")
    send_mail()
    (got,) = mail_server.taken
    assert (got["To"], got["From"], got["Subject"]) == (mail.to_address, "releveling@localhost", mail.subject)
    assert (got["Content-Language"], got["Auto-Submitted"]) == ("es", "auto-generated")
    assert got["Date"].datetime == mail.made_at.replace(microsecond=0)
    assert got.get_content().replace("\r\n", "\n").rstrip("\n") == body
    assert (*seen(mail), mail.error) == ("sent", 1, False, "")
    assert mail.sent_at is not None
    send_mail()
    assert len(mail_server.taken) == 1


def test_a_dead_server_loses_nothing_and_costs_one_try_a_round(
    mail_server: MailServer, caplog: pytest.LogCaptureFixture
) -> None:
    mails = MailFactory.create_batch(3)
    mail_server.die()
    send_mail()
    for mail in mails:
        assert seen(mail) == ("waiting", 0, False)
        assert "refused" in mail.error
        assert MINUTE / 2 < mail.next_try_at - timezone.now() <= MINUTE
    assert [record.message for record in caplog.records] == ["the mail server takes nothing: ConnectionRefusedError"]
    mail_server.start()
    send_mail()
    assert mail_server.connections == 0  # not before it is time
    when_it_is_time()
    assert {got["To"] for got in mail_server.taken} == {mail.to_address for mail in mails}
    assert (len(mail_server.taken), mail_server.connections) == (3, 1)
    assert set(Mail.objects.values_list("state", "error")) == {("sent", "")}


@pytest.mark.parametrize(
    ("waited", "again"),
    [(MINUTE / 2, MINUTE), (10 * MINUTE, 5 * MINUTE), (HOUR / 2, HOUR / 4), (72 * HOUR, HOUR / 2)],
)
def test_it_is_tried_again_less_and_less_often(
    mail_server: MailServer, waited: datetime.timedelta, again: datetime.timedelta
) -> None:
    mail = MailFactory(made_at=timezone.now() - waited)
    mail_server.answers["connect"] = "421 not now"
    send_mail()
    assert seen(mail) == ("waiting", 0, False)
    assert abs(mail.next_try_at - timezone.now() - again) < MINUTE / 4


def test_a_server_that_turns_everybody_away_counts_as_gone(mail_server: MailServer, settings: LazySettings) -> None:
    settings.EMAIL_HOST_USER, settings.EMAIL_HOST_PASSWORD = "us", "wrong"
    mail_server.answers["EHLO"] = "250-mail.example\r\n250 AUTH PLAIN"
    mail_server.answers["AUTH"] = "535 no such password"
    mails = MailFactory.create_batch(2)
    send_mail()
    for mail in mails:
        assert seen(mail) == ("waiting", 0, False)
        assert mail.error == "535 no such password"
    assert mail_server.connections == 1


@pytest.mark.parametrize(
    ("command", "answer", "state"),
    [
        ("RCPT", "550 no such user", "failed"),
        ("RCPT", "450 come back later", "waiting"),
        ("DATA", "554 no mail today", "failed"),
        ("DATA", "451 no room", "waiting"),
        (".", "554 this is spam", "failed"),
        (".", "452 disk full", "waiting"),
    ],
)
def test_what_the_server_says_decides(mail_server: MailServer, command: str, answer: str, state: str) -> None:
    mails = MailFactory.create_batch(2)
    mail_server.answers[command] = answer
    send_mail()
    for mail in mails:
        assert (*seen(mail), mail.error) == (state, 1, False, answer)
        assert MINUTE / 2 < mail.next_try_at - timezone.now() <= MINUTE
    mail_server.answers.clear()
    when_it_is_time()
    assert len(mail_server.taken) == (2 if state == "waiting" else 0)


def test_one_refused_address_keeps_no_other_waiting(mail_server: MailServer) -> None:
    bad, good = MailFactory(to_address="gone@customer.example"), MailFactory()
    refused = Refusing("gone@customer.example")
    mail_server.answers = refused
    send_mail()
    assert (seen(bad)[0], seen(good)[0]) == ("failed", "sent")


class Waiting(dict[str, str]):
    """Answers that keep the sender of a whole text waiting until a test lets go."""

    def __init__(self) -> None:
        super().__init__()
        self.has_the_text, self.go_on = threading.Event(), threading.Event()

    def get(self, command: str, otherwise: Any = None) -> Any:
        if command == ".":
            self.has_the_text.set()
            self.go_on.wait(20)
        return otherwise


class Refusing(dict[str, str]):
    """Answers that refuse one address of two: the first that is asked for."""

    def __init__(self, address: str) -> None:
        super().__init__()
        self.left = 1

    def get(self, command: str, otherwise: Any = None) -> Any:
        if command == "RCPT" and self.left:
            self.left -= 1
            return "550 no such user"
        return super().get(command, otherwise)


def test_a_refused_sender_is_no_fault_of_the_message(mail_server: MailServer) -> None:
    mails = MailFactory.create_batch(2)
    mail_server.answers["MAIL"] = "550 you may not send as that"
    send_mail()
    assert sorted(seen(mail) for mail in mails) == [("waiting", 0, False), ("waiting", 1, False)]
    assert {mail.error for mail in mails} == {"550 you may not send as that"}
    assert all(mail.next_try_at > timezone.now() for mail in mails)


def test_a_server_that_closes_gets_no_other_message_in_this_round(mail_server: MailServer) -> None:
    mails = MailFactory.create_batch(2)
    mail_server.answers["RCPT"] = "421 closing"
    send_mail()
    assert sorted(seen(mail) for mail in mails) == [("waiting", 0, False), ("waiting", 1, False)]


@pytest.mark.parametrize(("is_stored", "arrived"), [(True, 2), (False, 1)])
def test_an_answer_that_was_lost_sends_it_again_under_the_same_id(
    mail_server: MailServer, is_stored: bool, arrived: int
) -> None:
    mail = MailFactory()
    mail_server.answers["."], mail_server.stores_before_it_dies = "", is_stored
    send_mail()
    assert seen(mail) == ("waiting", 1, True)
    assert "SMTPServerDisconnected" in mail.error
    mail_server.answers.clear()
    when_it_is_time()
    assert seen(mail) == ("sent", 2, False)
    assert [got["Message-ID"] for got in mail_server.taken] == [f"<{mail.pk}@localhost>"] * arrived


def test_a_slow_server_is_waited_for(mail_server: MailServer, settings: LazySettings) -> None:
    settings.EMAIL_TIMEOUT = 0.2  # to reach it; what hangs up on a slow answer would send twice
    answers = Waiting()
    threading.Timer(0.6, answers.go_on.set).start()
    mail_server.answers = answers
    mail = MailFactory()
    send_mail()
    assert seen(mail) == ("sent", 1, False)


def test_a_server_that_hangs_is_not_waited_for(mail_server: MailServer, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(mail_sending, "PATIENCE_S", 0.2)
    mail_server.answers = answers = Waiting()
    mail = MailFactory()
    send_mail()
    answers.go_on.set()
    assert seen(mail) == ("waiting", 1, True)
    assert "timed out" in mail.error


def test_a_worker_that_dies_in_between_sends_it_again_later(
    mail_server: MailServer, monkeypatch: pytest.MonkeyPatch
) -> None:
    mail = MailFactory()

    def killed(_mail: Mail) -> None:
        raise SystemExit

    monkeypatch.setattr(mail_sending, "message_of", killed)
    with pytest.raises(SystemExit):
        send_mail()
    monkeypatch.undo()
    assert seen(mail) == ("waiting", 1, True)
    send_mail()
    assert mail_server.taken == []  # another may be at it still
    when_it_is_time()
    assert seen(mail) == ("sent", 2, False)


@pytest.mark.django_db(transaction=True)
def test_two_workers_send_it_once(mail_server: MailServer) -> None:
    MailFactory.create_batch(12)
    start = threading.Barrier(4)

    def work() -> None:
        try:
            start.wait()
            send_mail()
        finally:
            connection.close()

    workers = [threading.Thread(target=work) for _ in range(4)]
    for worker in workers:
        worker.start()
    for worker in workers:
        worker.join()
    assert len({got["Message-ID"] for got in mail_server.taken}) == len(mail_server.taken) == 12
    assert set(Mail.objects.values_list("state", "tries")) == {("sent", 1)}


@pytest.mark.django_db(transaction=True)
def test_what_a_booking_takes_back_while_a_round_begins_is_not_sent(mail_server: MailServer, office: User) -> None:
    mail = MailFactory()
    with transaction.atomic():
        stop(mail, by=office)
        worker = threading.Thread(target=lambda: (send_mail(), connection.close()))
        worker.start()
        worker.join(timeout=0.5)
        assert worker.is_alive()  # it waits for the row
    worker.join()
    assert seen(mail) == ("stopped", 0, False)
    assert mail_server.taken == []


@pytest.mark.django_db(transaction=True)
def test_a_round_waits_for_no_booking_that_holds_a_message(mail_server: MailServer) -> None:
    mail = MailFactory()
    mail_server.die()
    with transaction.atomic():
        Mail.objects.select_for_update().get(pk=mail.pk)
        worker = threading.Thread(target=lambda: (send_mail(), connection.close()))
        worker.start()
        worker.join(timeout=10)
        assert not worker.is_alive()
    assert seen(mail) == ("waiting", 0, False)
    assert mail.error == ""
    mail_server.start()


def test_nothing_is_sent_after_the_visit_has_begun(mail_server: MailServer) -> None:
    visit = VisitFactory(starts_at=timezone.now() - HOUR, ends_at=timezone.now() + HOUR)
    mail = MailFactory(visit=visit)
    send_mail()
    assert (seen(mail), mail.error) == (("stopped", 0, False), TOO_LATE)
    assert mail_server.connections == 0


def test_it_waits_a_little_before_it_goes_out(mail_server: MailServer, settings: LazySettings) -> None:
    settings.MAIL_WAITS_S = 120
    visit = VisitFactory(starts_at=timezone.now() + 48 * HOUR, ends_at=timezone.now() + 50 * HOUR)
    HomeContactFactory(home=visit.siting.home, customer=CustomerFactory(email="ann@customer.example"))
    (mail,) = tell(visit, "booked", None)
    assert abs(mail.next_try_at - timezone.now() - 2 * MINUTE) < MINUTE / 4
    send_mail()
    assert mail_server.taken == []


def test_without_a_server_it_waits(settings: LazySettings) -> None:
    settings.EMAIL_BACKEND = mail_sending.NO_SERVER
    mail = MailFactory()
    send_mail()
    assert seen(mail) == ("waiting", 0, False)
    assert not mail_sending.has_server()


def test_in_the_demo_it_is_written_to_the_log(settings: LazySettings, capsys: pytest.CaptureFixture[str]) -> None:
    settings.EMAIL_BACKEND = "django.core.mail.backends.console.EmailBackend"
    mail = MailFactory(subject="Your visit on Monday")
    send_mail()
    assert "Subject: Your visit on Monday" in capsys.readouterr().out
    assert seen(mail)[0] == "sent"


@pytest.mark.parametrize("address", ["ann@customer.example\nBcc: eve@evil.example", "ann@" + "ü" * 62 + ".example"])
def test_what_would_be_a_header_of_its_own_is_refused(mail_server: MailServer, address: str) -> None:
    mail = MailFactory(to_address=address)  # past every check: straight into the table
    send_mail()
    assert seen(mail) == ("failed", 1, False)
    assert mail_server.taken == []


def test_no_subject_of_two_lines_comes_into_the_table() -> None:
    for subject in ("Your visit\nBcc: eve@evil.example", "Your visit\rBcc: eve@evil.example"):
        with pytest.raises(IntegrityError, match="mail_subject_is_one_line"), transaction.atomic():
            MailFactory(subject=subject)


# -- by hand -------------------------------------------------------------------------------------------------------


def test_a_refused_one_is_tried_again_at_the_address_that_was_put_right(
    mail_server: MailServer, office: User
) -> None:
    mail = MailFactory(state="failed", error="550 no such user", to_address="an@customer.example")
    mail.customer.email = "ann@customer.example"
    mail.customer.save()
    try_again(mail, by=office)
    send_mail()
    assert seen(mail)[0] == "sent"
    assert mail_server.taken[0]["To"] == "ann@customer.example"


def test_a_stopped_one_is_never_sent(mail_server: MailServer, office: User) -> None:
    mail = MailFactory()
    stop(mail, by=office)
    when_it_is_time()
    assert (seen(mail), mail.error) == (("stopped", 0, False), BY_HAND)
    assert mail_server.taken == []
    for act in (stop, try_again):
        with pytest.raises(DomainError, match="already"):
            act(mail, by=office)


def test_one_that_is_stopped_while_it_is_sent_was_sent(
    mail_server: MailServer, office: User, monkeypatch: pytest.MonkeyPatch
) -> None:
    mail = MailFactory()
    message_of: Callable[[Mail], Any] = mail_sending.message_of

    def stopped_meanwhile(row: Mail) -> Any:
        stop(mail, by=office)
        return message_of(row)

    monkeypatch.setattr(mail_sending, "message_of", stopped_meanwhile)
    send_mail()
    assert seen(mail) == ("sent", 1, False)
    assert len(mail_server.taken) == 1


def test_without_an_address_it_is_not_tried_again(office: User) -> None:
    mail = MailFactory(state="failed", customer=CustomerFactory(email=""))
    with pytest.raises(DomainError, match="no e-mail address"):
        try_again(mail, by=office)


@pytest.mark.parametrize("role", ["lead", "crew"])
def test_only_the_office_says_what_becomes_of_mail(role: str, request: pytest.FixtureRequest) -> None:
    by, mail = request.getfixturevalue(role), MailFactory()
    for act in (stop, try_again):
        with pytest.raises(DomainError) as refused:
            act(mail, by=by)
        assert refused.value.status == 403


def test_no_mail_is_sent_in_a_request(settings: LazySettings, office: User) -> None:
    """What is written in a request waits for the worker: the backend of tests would show it at once."""
    visit = VisitFactory(starts_at=timezone.now() + 48 * HOUR, ends_at=timezone.now() + 50 * HOUR)
    HomeContactFactory(home=visit.siting.home, customer=CustomerFactory(email="ann@customer.example"))
    settings.MAIL_WAITS_S = 0
    tell(visit, "booked", office)
    assert django_mail.outbox == []
    send_mail()
    assert len(django_mail.outbox) == 1


# -- a worker of its own -------------------------------------------------------------------------------------------


@pytest.fixture
def to_our_server(mail_server: MailServer, monkeypatch: pytest.MonkeyPatch) -> MailServer:
    """Have a worker that starts from now on send to the server of the test."""
    monkeypatch.setenv("EMAIL_URL", f"smtp://127.0.0.1:{mail_server.port}")
    return mail_server


@pytest.mark.django_db(transaction=True)
def test_a_worker_killed_in_the_middle_of_a_message_loses_nothing(
    to_our_server: MailServer, real_worker: RealWorker
) -> None:
    mail, answers = MailFactory(), Waiting()
    to_our_server.answers = answers
    app.send_task("jobs.tasks.send_mail")
    assert answers.has_the_text.wait(20), real_worker.log()
    real_worker.kill()
    answers.go_on.set()
    assert seen(mail) == ("waiting", 1, True)
    to_our_server.answers = {}
    Mail.objects.update(next_try_at=timezone.now() - MINUTE)
    real_worker.start()
    app.send_task("jobs.tasks.send_mail")
    wait_until(lambda: seen(mail) == ("sent", 2, False), 20, real_worker.log)
    assert {got["Message-ID"] for got in to_our_server.taken} == {f"<{mail.pk}@localhost>"}


def test_the_scheduler_asks_for_a_round_by_a_name_that_the_worker_knows() -> None:
    entry = app.conf.beat_schedule["send-mail"]
    assert entry["task"] in app.tasks
    assert app.tasks[entry["task"]] is app.tasks[send_mail.name]
    assert 0 < entry["schedule"] <= 60

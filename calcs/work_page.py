"""The work on a phone: each pass with the number to read, what was noted of it, what is left, and a form to note."""

from dataclasses import dataclass
from typing import Any
from uuid import UUID

from django import forms
from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import get_language, gettext_lazy
from django.utils.translation import gettext as _

from calcs.beginning import why_not_begin, why_not_go_on
from calcs.models import Approval, PassEntry
from calcs.questions import option_of
from calcs.set_up_anew import marks_of
from calcs.spoken import OPTION_WORDS
from calcs.survey_page.plans import move_rows
from calcs.survey_page.record import Record, read_record
from calcs.work import (
    Step,
    SupportLeft,
    WorkPass,
    WorkProgress,
    note_step,
    progress_of_work,
    why_not_noted,
)
from calcs.work_before import before_first_pass
from jobs.account_forms import put_error
from jobs.cautions import Moment, shown_at, told
from jobs.errors import DomainError
from jobs.models import Hazard, Point
from jobs.models.base import Act, new_key
from jobs.rights import may, need
from jobs.views import SignedInRequest, page
from surveys.models import Unit

VERDICT_WORDS = {
    "as_wanted": gettext_lazy("as wanted, as closely as it can be read"),
    "unsure": gettext_lazy("perhaps off: read again"),
    "off": gettext_lazy("off: stop, look, read again"),
    "": "",
}
_MOST_PASSES = 200


class StepForm(forms.Form):
    """What was done at a support in a pass. It brings its own key, so that pressing twice keeps one."""

    id = forms.UUIDField(widget=forms.HiddenInput)
    point = forms.UUIDField(widget=forms.HiddenInput)
    pass_number = forms.IntegerField(min_value=1, max_value=_MOST_PASSES, widget=forms.HiddenInput)
    is_done = forms.BooleanField(label=gettext_lazy("Done"), required=False)
    typed = forms.CharField(
        label=gettext_lazy("Number read"),
        max_length=40,
        required=False,
        widget=forms.TextInput({"autocomplete": "off", "inputmode": "text"}),
    )
    note = forms.CharField(label=gettext_lazy("Note"), max_length=200, required=False)

    def __init__(self, *args: Any, unit: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.label_suffix = ""
        self.fields["typed"].help_text = _("as the level shows it, in {unit}").format(unit=Unit(unit).label)

    def is_of(self, point: str, pass_number: int) -> bool:
        """Tell whether the form is about this step."""
        return str(self["point"].value()) == point and str(self["pass_number"].value()) == str(pass_number)


@dataclass(frozen=True, slots=True, kw_only=True)
class StepRow:
    """One step as the page shows it."""

    anchor: str
    label: str
    what: str
    jack: str
    number: str
    is_hanging: bool
    entry: PassEntry | None
    off: str
    verdict: str
    choice: str
    form: StepForm | None


@dataclass(frozen=True, slots=True, kw_only=True)
class PassView:
    """One pass as the page shows it."""

    number: int
    day: int
    is_done: bool
    is_open: bool
    groups: tuple[tuple[StepRow, ...], ...]
    beside: tuple[StepRow, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class LeftRow:
    """A support that still has to go somewhere."""

    label: str
    left: str
    passes: str
    gap: str
    row: StepRow | None  # to note it by, where no pass tells of it


@page
def work(request: SignedInRequest, pk: UUID) -> HttpResponse:
    """The passes of an approved plan: what to read, what was noted, what is left; and a form for one support."""
    approval = _approval(request, pk)
    unit = approval.plan.survey.unit
    if request.method == "POST":
        need(request.user, Act.ADD, PassEntry)
        form = StepForm(request.POST, unit=unit)
        if form.is_valid() and _noted(request, approval, form):
            return redirect(f"{reverse('approval-work', args=[approval.pk])}#next")
        return _shown(request, approval, form, status=400)
    return _shown(request, approval, _form(request, approval))


def _approval(request: SignedInRequest, pk: UUID) -> Approval:
    rows = Approval.objects.visible_to(request.user)
    beside = ("plan__lift", "plan__survey__siting__home", "plan__survey__author", "approved_by", "closing")
    return get_object_or_404(rows.select_related(*beside), pk=pk)


def _noted(request: SignedInRequest, approval: Approval, form: StepForm) -> bool:
    """Keep what was filled in; False, with the reason at its field, where it is refused."""
    typed = form.cleaned_data
    point = Point.objects.filter(siting=approval.siting_id, pk=typed["point"]).first()
    if point is None:
        form.add_error(None, _("There is no such support at this home."))
        return False
    try:
        note_step(
            approval=approval,
            key=typed["id"],
            by=request.user,
            point=point,
            pass_number=typed["pass_number"],
            is_done=typed["is_done"],
            typed=typed["typed"],
            remark=typed["note"],
        )
    except DomainError as error:
        put_error(form, error)
        return False
    words = _("Noted: {label}, pass {number}.")
    messages.success(request, words.format(label=point.label, number=typed["pass_number"]))
    return True


def _form(request: SignedInRequest, approval: Approval) -> StepForm | None:
    """Return an empty form for the step that the reader chose."""
    number, _dash, point = request.GET.get("step", "").partition("-")
    if not point:
        return None
    initial = {"id": new_key(), "point": point, "pass_number": number, "is_done": True}
    return StepForm(initial=initial, unit=approval.plan.survey.unit)


def _shown(request: SignedInRequest, approval: Approval, form: StepForm | None, *, status: int = 200) -> HttpResponse:
    survey, user = approval.plan.survey, request.user
    progress = progress_of_work(approval)
    closed = why_not_noted(approval)
    may_note = not closed and may(user, Act.ADD, PassEntry) and survey.siting.home.archived_at is None
    record, option = read_record(survey, unit=user.length_unit), option_of(approval.plan)
    rows = _Rows(
        record=record,
        progress=progress,
        form=form if may_note else None,
        may_note=may_note,
        gaps={row.code: row.gap for row in move_rows(record, option)},
    )
    language = get_language() or "en"
    context = {
        "approval": approval,
        "survey": survey,
        "home": survey.siting.home,
        "option": OPTION_WORDS[approval.plan.option],
        "progress": progress,
        "closed": closed,
        "only_seen": not closed and not may(user, Act.ADD, PassEntry),
        "not_to_begin": () if closed else why_not_begin(approval, progress, timezone.localdate()),
        "not_to_go_on": "" if closed else why_not_go_on(approval, progress),
        "first": () if closed or progress.is_begun else before_first_pass(record, approval.plan, option),
        "setup": rows.record.name(progress.setup) if progress.setup else "",
        "mark": rows.mark_words(),
        "passes": [rows.pass_view(each) for each in progress.passes],
        "left": [rows.left_row(each) for each in progress.left],
        "has_off": any(each.is_off for each in progress.passes),
        "stops": [rows.record.sentence(stop.text) for stop in progress.stops],
        "hazards": Hazard.objects.open().filter(home=survey.siting.home).order_by("kind"),
        "cautions": [told(one.code, language[:2]) for one in shown_at(Moment.EACH_PASS)],
        "lost": form if form and form.is_bound and not rows.shows_form else None,
    }
    return render(request, "calcs/work.html", context, status=status)


@dataclass(kw_only=True)
class _Rows:
    """What the page says of each step, in the reader's words."""

    record: Record
    progress: WorkProgress
    form: StepForm | None
    may_note: bool
    gaps: dict[str, str]  # how supports go that hang below the frame
    shows_form: bool = False

    def pass_view(self, each: WorkPass) -> PassView:
        groups = tuple(tuple(self.row(step) for step in group) for group in each.groups)
        beside = tuple(self.row(step) for step in each.beside)
        following = self.progress.next_step()
        has_form = any(row.form for group in (*groups, beside) for row in group)
        return PassView(
            number=each.number,
            day=each.day,
            is_done=each.is_done,
            is_open=has_form or each.is_off or (following is not None and following.pass_number == each.number),
            groups=groups,
            beside=beside,
        )

    def row(self, step: Step) -> StepRow:
        return StepRow(
            anchor=f"s{step.pass_number}-{step.point}",
            label=self.record.name(step.point),
            what=self.by_words(step.by_in),
            jack=_("jack {lb} lb at most").format(lb=f"{step.jack_lb:,.0f}") if step.jack_lb else "",
            number="" if step.read_in is None or self.progress.anew_since else self.record.figure(step.read_in),
            is_hanging=step.is_hanging,
            entry=step.entry,
            off=self.off_words(step),
            verdict=str(VERDICT_WORDS[step.verdict]),
            choice=f"{step.pass_number}-{step.point}" if self.may_note else "",
            form=self.form_for(step.point, step.pass_number),
        )

    def form_for(self, point: str, pass_number: int) -> StepForm | None:
        if self.form is None or not self.form.is_of(point, pass_number):
            return None
        self.shows_form = True
        return self.form

    def mark_words(self) -> str:
        """Say what the mark reads in the setup of the numbers; nothing where none was read there."""
        if self.progress.setup is None:
            return ""
        setup = UUID(self.progress.setup)
        mark = marks_of([setup]).get(setup)
        words = _("{mark} reads {number} there")
        return words.format(mark=mark.label, number=self.record.figure(mark.read_in)) if mark else ""

    def by_words(self, by_in: float) -> str:
        if not by_in:
            return _("read only")
        words = _("up {by}") if by_in > 0 else _("down {by}")
        return words.format(by=self.record.length(abs(by_in)))

    def off_words(self, step: Step) -> str:
        if step.off_in is None:
            return ""
        words = _("{by} higher than wanted") if step.off_in >= 0 else _("{by} lower than wanted")
        return words.format(by=self.record.length(abs(step.off_in)))

    def left_row(self, support: SupportLeft) -> LeftRow:
        passes = _("{done} of {passes} passes done").format(done=support.passes_done, passes=support.passes)
        return LeftRow(
            label=self.record.name(support.point),
            left=self.by_words(support.left_in),
            passes=passes if support.passes else _("the order of jacking does not tell of it"),
            gap=self.gaps.get(support.point, ""),
            row=None if support.passes else self.row(_unordered(support)),
        )


def _unordered(support: SupportLeft) -> Step:
    return Step(
        point=support.point,
        pass_number=1,
        by_in=support.left_in,
        read_in=None,
        is_hanging=False,
        entry=None,
        off_in=None,
        verdict="",
    )

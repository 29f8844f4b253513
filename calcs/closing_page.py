"""The closing gate on a phone: what is still open, what was checked, and closing the work."""

from http import HTTPStatus
from typing import Any
from uuid import UUID

from django import forms
from django.contrib import messages
from django.db.models import QuerySet
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import get_language, gettext_lazy
from django.utils.translation import gettext as _

from calcs.closing import close, closing_of, what_is_open
from calcs.closing.words import CHECKS, checked_words
from calcs.models import Approval, Closing
from jobs.cautions import Moment, shown_at, told
from jobs.editing import VersionedForm, saved
from jobs.errors import DomainError, Stale
from jobs.models.base import Act
from jobs.rights import is_manager, may, need, need_on, need_standing
from jobs.views import SignedInRequest, page
from jobs.widgets import Words
from surveys.models import Survey


class ClosingForm(VersionedForm):
    """What was checked at the end of the work."""

    class Meta:
        model = Closing
        fields = [
            "as_left",
            "are_wedges_tapped",
            "doors_windows",
            "are_straps_tight",
            "is_leak_checked",
            "are_drains_checked",
            "gas",
            "gas_checked_by",
            "is_everybody_out",
            "exceptions",
        ]
        labels = {
            **CHECKS,
            "as_left": gettext_lazy("Survey as left"),
            "gas_checked_by": gettext_lazy("Gas checked by"),
            "exceptions": gettext_lazy("Exceptions"),
        }
        help_texts = {
            "as_left": gettext_lazy(
                "two rounds, closing shot on the reference; read it as a survey “as left” (phone, API or file)"
            ),
            "gas_checked_by": gettext_lazy("fitter and licence"),
            "exceptions": gettext_lazy("pairs left too far apart, doors that stick, what was not done"),
            **dict.fromkeys(
                (
                    "are_wedges_tapped",
                    "are_straps_tight",
                    "is_leak_checked",
                    "are_drains_checked",
                    "is_everybody_out",
                ),
                "",
            ),
        }
        widgets = {"exceptions": Words({"rows": 3})}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.label_suffix = ""
        field: Any = self.fields["as_left"]
        field.queryset = _as_left_surveys(self.instance.approval)
        field.empty_label = gettext_lazy("not chosen yet")

    def clean(self) -> dict[str, Any] | None:
        """A gas line that was checked was checked by somebody."""
        cleaned = super().clean()
        if self.cleaned_data.get("gas") == Closing.Gas.CHECKED and not self.cleaned_data.get("gas_checked_by"):
            self.add_error("gas_checked_by", _("Say which licensed fitter checked the gas line."))
        return cleaned


class CloseForm(forms.Form):
    """Closing: the version that was read and, where something is open, the manager's reason."""

    version = forms.IntegerField(widget=forms.HiddenInput)
    reason = forms.CharField(
        label=gettext_lazy("Why it is closed though something is open"),
        max_length=2000,
        required=False,
        widget=Words({"rows": 3}),
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        kwargs["auto_id"] = "id_close_%s"  # the other form of the page has a version too
        super().__init__(*args, **kwargs)
        self.label_suffix = ""


def _as_left_surveys(approval: Approval) -> QuerySet[Survey]:
    rows = Survey.objects.filter(siting=approval.siting_id, stage=Survey.Stage.AS_LEFT)
    return rows.order_by("-started_at", "-pk")


@page
def closing(request: SignedInRequest, pk: UUID) -> HttpResponse:
    """What is open at the end of approved work; a form to say what was checked, and one to close it."""
    found = closing_of(_approval(request, pk))
    if request.method != "POST":
        return _shown(request, found)
    need_standing(found.approval.siting.home)
    if found._state.adding:
        need(request.user, Act.ADD, Closing)
    else:
        need_on(request.user, Act.CHANGE, found)
    return _closed(request, found) if request.POST.get("do") == "close" else _saved(request, found)


def _approval(request: SignedInRequest, pk: UUID) -> Approval:
    rows = Approval.objects.visible_to(request.user).select_related("plan__lift", "siting__home", "approved_by")
    return get_object_or_404(rows, pk=pk)


def _saved(request: SignedInRequest, found: Closing) -> HttpResponse:
    form = ClosingForm(request.POST, instance=found)
    if not form.is_valid() or not saved(form):
        return _shown(request, closing_of(found.approval), form=form, status=HTTPStatus.BAD_REQUEST)
    messages.success(request, _("Saved."))
    return redirect("approval-closing", pk=found.approval_id)


def _closed(request: SignedInRequest, found: Closing) -> HttpResponse:
    form = CloseForm(request.POST)
    if found._state.adding:
        form.add_error(None, _("Save what was checked first."))
    elif form.is_valid():
        found.version = form.cleaned_data["version"]
        try:
            close(closing=found, by=request.user, reason=form.cleaned_data["reason"])
        except Stale as stale:
            form = CloseForm({**request.POST.dict(), "version": _newest(found).version})
            form.add_error(None, stale.message)
        except DomainError as error:
            if error.status == HTTPStatus.FORBIDDEN:
                raise
            form.add_error(None, error.message)
        else:
            messages.success(request, _("Closed. The record as left is ready."))
            return redirect("approval-closing", pk=found.approval_id)
    return _shown(request, _newest(found), close_form=form, status=HTTPStatus.CONFLICT)


def _newest(found: Closing) -> Closing:
    """Return the closing as it stands, whatever was tried with it."""
    return closing_of(found.approval)


def _shown(
    request: SignedInRequest,
    found: Closing,
    *,
    form: ClosingForm | None = None,
    close_form: CloseForm | None = None,
    status: int = 200,
) -> HttpResponse:
    approval, user = found.approval, request.user
    is_closed = found.closed_at is not None
    takes_changes = not is_closed and approval.withdrawn_at is None and approval.siting.home.archived_at is None
    may_change = takes_changes and may(user, Act.CHANGE, Closing)
    still_open = () if is_closed else what_is_open(found)
    is_life = any(one.is_life for one in still_open)
    may_close = may_change and not found._state.adding and not is_life and (not still_open or is_manager(user))
    version = {"version": found.version}
    language = get_language() or "en"
    context = {
        "approval": approval,
        "home": approval.siting.home,
        "closing": found,
        "open": still_open,
        "form": (form or ClosingForm(instance=found)) if may_change else None,
        "close_form": (close_form or CloseForm(initial=version)) if may_close else None,
        "refused": close_form if close_form is not None and not may_close else None,
        "checked": checked_words(found),
        "cautions": [told(one.code, language[:2]) for one in shown_at(Moment.AFTER)],
    }
    return render(request, "calcs/closing.html", context, status=status)

"""Who may do what over the API: the table of rights, read by the viewset's model and the request's method."""

from typing import TYPE_CHECKING, Any

from django.db.models import Model
from rest_framework.exceptions import PermissionDenied
from rest_framework.permissions import IsAuthenticated
from rest_framework.request import Request

from jobs.errors import DomainError
from jobs.models.base import Act
from jobs.rights import need, need_on

if TYPE_CHECKING:
    from rest_framework.views import APIView  # which imports this, as the default of every view

ACTS = {"GET": Act.SEE, "HEAD": Act.SEE, "POST": Act.ADD, "PATCH": Act.CHANGE, "DELETE": Act.ARCHIVE}


class ByRights(IsAuthenticated):
    """Signed in, and with a role that allows it.

    A view names its model by its queryset or as ``rights_model``; ``acts`` says what its own actions amount to where
    the method doesn't: None is open to everybody who is signed in.
    """

    def has_permission(self, request: Request, view: "APIView") -> bool:
        """Check the role; the refusal names the roles that may."""
        if not super().has_permission(request, view):
            return False
        if not answers(view, request.method or ""):
            return True  # so that it says so
        model, act = model_of(view), act_of(request, view)
        if model is not None and act is not None:
            try:
                need(request.user, act, model)
            except (
                DomainError
            ) as refused:  # as the framework's own, which knows it when it describes what may be done
                raise PermissionDenied(refused.message) from refused
        return True

    def has_object_permission(self, request: Request, view: "APIView", obj: Any) -> bool:
        """Check the row's own state too."""
        act = act_of(request, view)
        if act is not None and isinstance(obj, Model):
            need_on(request.user, act, obj)
        return True


def answers(view: "APIView", method: str) -> bool:
    """Tell whether a view has an answer to a method at all."""
    name = method.lower()
    return name in view.http_method_names and hasattr(view, name)


def model_of(view: "APIView") -> type[Model] | None:
    """Return what a view is about."""
    named: type[Model] | None = getattr(view, "rights_model", None)
    rows = getattr(view, "queryset", None)
    return named if named is not None or rows is None else rows.model


def act_of(request: Request, view: "APIView") -> Act | None:
    """Return what a request amounts to."""
    own: dict[str, Act | None] = getattr(view, "acts", {})
    action = getattr(view, "action", None)
    return own[action] if action in own else ACTS.get(request.method or "")

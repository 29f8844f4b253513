"""Who may do what, beyond being signed in."""

from rest_framework.permissions import SAFE_METHODS, IsAuthenticated
from rest_framework.request import Request
from rest_framework.views import APIView

from jobs.models import Role, User


def is_manager(user: object) -> bool:
    """Tell whether ``user`` may change what binds the whole company."""
    return isinstance(user, User) and (user.is_superuser or user.has_role(Role.MANAGER))


class ManagerWrites(IsAuthenticated):
    """Everybody signed in may read; a manager may write."""

    message = "This needs the manager role."

    def has_permission(self, request: Request, view: APIView) -> bool:
        """Check the role for anything that writes."""
        signed_in = super().has_permission(request, view)
        return signed_in and (request.method in SAFE_METHODS or is_manager(request.user))

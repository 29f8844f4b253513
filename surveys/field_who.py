"""Whose field page this is: what a phone asks when it has signal, before it sends anything."""

from django.http import HttpRequest, JsonResponse
from django.middleware.csrf import get_token
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from jobs.api.errors import not_signed_in


@never_cache
@require_safe
def who(request: HttpRequest) -> JsonResponse:
    """Return who is signed in with this browser, and the token that its writes need; 401 when nobody is."""
    if not request.user.is_authenticated:
        return not_signed_in()
    person = request.user
    return JsonResponse(
        {
            "id": str(person.pk),
            "name": str(person),
            "language": person.language,
            "roles": person.roles,
            "csrf": get_token(request),
        }
    )

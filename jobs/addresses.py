"""Where a request comes from."""

import ipaddress

from django.conf import settings
from django.http import HttpRequest


def client_address(request: HttpRequest) -> str | None:
    """Return the client's address: what the proxy added last, where there is a trusted one; else the peer's.

    What a client writes into the header itself stands further left, and is never believed.
    """
    peer = _well_formed(request.META.get("REMOTE_ADDR", ""))
    if not settings.BEHIND_PROXY:
        return peer
    forwarded = request.META.get("HTTP_X_FORWARDED_FOR", "").rpartition(",")[2]
    return _well_formed(forwarded) or peer


def _well_formed(address: str) -> str | None:
    try:
        return str(ipaddress.ip_address(address.strip()))
    except ValueError:
        return None

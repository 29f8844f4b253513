"""The field page: a shell without anybody's data, kept on the phone by a service worker, the same for everyone.

What people enter and load goes over the API. The shell's version follows from the contents of all its files, so that a
phone takes a new one when any of them has changed, and never a mixture of two.
"""

import hashlib
import json
from pathlib import Path

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.template.loader import render_to_string
from django.utils.translation.trans_real import DjangoTranslation
from django.views.decorators.cache import cache_control
from django.views.decorators.http import require_safe
from django.views.i18n import JSONCatalog

from jobs.project.guards import permissions

ADDRESS = "/field/"
FOLDER = Path(__file__).parent / "static" / "surveys" / "field"
LANGUAGES = tuple(code for code, _ in settings.LANGUAGES if code != "en")  # sentences stand in English in the code

fresh = cache_control(no_cache=True)


@require_safe
@fresh
def page(request: HttpRequest) -> HttpResponse:
    """Return the shell; who is there and what they see is found by its scripts. Only here may a page listen."""
    return HttpResponse(_page(), headers={"Permissions-Policy": permissions(microphone="self")})


@require_safe
@fresh
def words(request: HttpRequest, language: str) -> HttpResponse:
    """Return the page's sentences in a language."""
    return HttpResponse(_words(language), content_type="application/json")


@require_safe
@fresh
def worker(request: HttpRequest) -> HttpResponse:
    """Return the service worker, told which files of which contents it keeps."""
    told = f"const SHELL = {json.dumps(shell())};\n"
    return HttpResponse(told + (FOLDER / "worker.js").read_text(), content_type="text/javascript; charset=utf-8")


def shell() -> dict[str, object]:
    """Return the version and the SHA-256 of each file that a phone keeps, by its address."""
    files = {address: hashlib.sha256(content).hexdigest() for address, content in sorted(_contents().items())}
    version = hashlib.sha256(json.dumps([files, (FOLDER / "worker.js").read_text()]).encode()).hexdigest()
    return {"version": version[:16], "files": files}


def _contents() -> dict[str, bytes]:
    static = {
        f"{settings.STATIC_URL}surveys/field/{path.relative_to(FOLDER).as_posix()}": path.read_bytes()
        for path in FOLDER.rglob("*")
        if path.is_file() and path.name != "worker.js"
    }
    catalogues = {f"{ADDRESS}words/{language}.json": _words(language) for language in LANGUAGES}
    return {ADDRESS: _page(), **catalogues, **static}


def _page() -> bytes:
    styles = ["field.css", *sorted(path.name for path in FOLDER.glob("*.css") if path.name != "field.css")]
    return render_to_string("surveys/field.html", {"styles": styles}).encode()


def _words(language: str) -> bytes:
    """Return the catalogue as JSON: a sentence for each sentence, a list of two where there is one and many."""
    catalogue = JSONCatalog()
    catalogue.translation = DjangoTranslation(
        language, domain="djangojs", localedirs=[str(Path(__file__).parent / "locale")]
    )
    return json.dumps(catalogue.get_catalog(), ensure_ascii=False, sort_keys=True).encode()

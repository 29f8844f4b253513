"""The field page: a shell without anybody's data, kept on the phone by a service worker, the same for everyone.

What people enter and load goes over the API. A phone fetches the shell as one pack: one request, compressed as
a whole, and never a mixture of two releases. Its version follows from the contents of all files.
"""

import base64
import hashlib
import json
import mimetypes
import re
from pathlib import Path

from django.conf import settings
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.middleware.gzip import GZipMiddleware
from django.template.loader import render_to_string
from django.utils.decorators import decorator_from_middleware
from django.utils.translation.trans_real import DjangoTranslation
from django.views.decorators.cache import cache_control
from django.views.decorators.http import require_safe
from django.views.i18n import JSONCatalog

from jobs.project.guards import permissions

ADDRESS = "/field/"
STATIC = f"{settings.STATIC_URL}surveys/field/"
FOLDER = Path(__file__).parent / "static" / "surveys" / "field"
LANGUAGES = tuple(code for code, _ in settings.LANGUAGES if code != "en")  # sentences stand in English in the code
TYPES = {".js": "text/javascript", ".css": "text/css", ".webmanifest": "application/manifest+json"}
# The large icon is asked for by a browser that installs the page, which takes a network; no screen shows it.
NOT_PACKED = {"worker.js", "icon-512.png"}
LISTENS = {"Permissions-Policy": permissions(microphone="self")}  # to straps: no other page may

fresh = cache_control(no_cache=True)


class _Gzip(GZipMiddleware):
    """Packs what holds no secret, whose length therefore tells nothing: without random bytes."""

    max_random_bytes = 0


gzipped = decorator_from_middleware(_Gzip)


@require_safe
@fresh
def page(request: HttpRequest) -> HttpResponse:
    """Return the shell's page; who is there and what they see is found by its scripts."""
    return HttpResponse(_page(), headers=LISTENS)


@require_safe
@fresh
def words(request: HttpRequest, language: str) -> HttpResponse:
    """Return the page's sentences in a language."""
    return HttpResponse(_words(language), content_type="application/json")


@require_safe
@fresh
def worker(request: HttpRequest) -> HttpResponse:
    """Return the service worker, told which version of the shell it keeps and for which addresses it answers."""
    files = pack()
    told = {"version": version_of(files), "addresses": sorted(files)}
    script = f"const SHELL = {json.dumps(told)};\n{_worker()}"
    return HttpResponse(script, content_type="text/javascript; charset=utf-8")


@require_safe
@fresh
@gzipped
def shell(request: HttpRequest) -> HttpResponse:
    """Return every file of the shell at once. The headers are those that the page has when it is kept."""
    files = pack()
    told = {"version": version_of(files), "files": files}
    return JsonResponse(told, json_dumps_params={"ensure_ascii": False}, headers=LISTENS)


def pack() -> dict[str, dict[str, str]]:
    """Return each file's type and its ``text``, or ``base64`` where it is none, by address."""
    alike = sorted(_files(), key=lambda path: (path.suffix, path))  # what is alike stands together: it packs tighter
    files = {STATIC + path.relative_to(FOLDER).as_posix(): _packed(path) for path in alike}
    for language in LANGUAGES:
        address = f"{ADDRESS}words/{language}.json"
        files[address] = {"type": "application/json", "text": _words(language).decode()}
    return {ADDRESS: {"type": "text/html; charset=utf-8", "text": _page().decode()}, **files}


def version_of(files: dict[str, dict[str, str]]) -> str:
    """Return what a shell of these files is called."""
    return hashlib.sha256(json.dumps([files, _worker()], sort_keys=True).encode()).hexdigest()[:16]


def _files() -> list[Path]:
    return [path for path in FOLDER.rglob("*") if path.is_file() and path.name not in NOT_PACKED]


def _worker() -> str:
    return (FOLDER / "worker.js").read_text()


def _packed(path: Path) -> dict[str, str]:
    kind = TYPES.get(path.suffix) or mimetypes.guess_type(path.name)[0] or ""
    if kind.startswith("image/"):
        return {"type": kind, "base64": base64.b64encode(path.read_bytes()).decode()}
    return {"type": f"{kind}; charset=utf-8", "text": _INDENT.sub("", without_comments(path.read_text()))}


# Behind code only a comment without any quote is one for certain: no text runs over lines, so that one that held such
# a thing would end further on in its line.
_COMMENTS = re.compile(r"^[ \t]*(?://[^\n]*|/\*.*?\*/[ \t]*)$|[ \t]+// [^\"'`\n]*$", re.MULTILINE | re.DOTALL)


# No text of the shell runs over lines (tests hold that), so that nothing hangs on how far a line is set in.
_INDENT = re.compile(r"^[ \t]+", re.MULTILINE)


def without_comments(source: str) -> str:
    """Return a script or a style without its comments: a fifth of its weight on the wire.

    The lines stay, empty, so that an error's line is the line in the file.
    """
    return _COMMENTS.sub(lambda comment: "\n" * comment.group().count("\n"), source)


def _page() -> bytes:
    more = sorted(path.name for path in FOLDER.glob("*.css") if path.name != "field.css")
    return render_to_string("surveys/field.html", {"styles": " ".join(more)}).encode()


def _words(language: str) -> bytes:
    """Return the catalogue as JSON: a sentence for each sentence, a list of two where there is one and many."""
    catalogue = JSONCatalog()
    catalogue.translation = DjangoTranslation(
        language, domain="djangojs", localedirs=[str(Path(__file__).parent / "locale")]
    )
    return json.dumps(catalogue.get_catalog(), ensure_ascii=False, sort_keys=True).encode()

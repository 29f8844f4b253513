"""Pages about people and homes: sign-in, account, and the list of homes that everyone starts from."""

from collections.abc import Callable
from functools import wraps
from http import HTTPStatus
from typing import Any, Concatenate, ParamSpec, cast
from urllib.parse import urlsplit
from uuid import UUID

from django.conf import settings
from django.contrib.auth import login
from django.contrib.auth.views import LoginView, redirect_to_login
from django.core.exceptions import PermissionDenied
from django.core.paginator import Paginator
from django.core.signing import BadSignature, TimestampSigner
from django.db.models import Prefetch, Q, QuerySet
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseBase, JsonResponse
from django.shortcuts import get_object_or_404, redirect, render, resolve_url
from django.urls import reverse
from django.utils import timezone
from django.utils.decorators import method_decorator
from django.utils.http import url_has_allowed_host_and_scheme
from django.utils.safestring import mark_safe
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_safe

from jobs.accounts import is_fresh
from jobs.drawings import LayoutPlan, draw_layout
from jobs.errors import DomainError
from jobs.forms import LayoutForm, SignInForm
from jobs.layout_page import CHECK_SURFACES, FRAME_SURFACES, layout_view, plan_of_generated
from jobs.models import Benchmark, Company, Customer, Home, Point, Role, Siting, SupportKind, Surface, User, Visit
from jobs.models.base import Act
from jobs.rights import may
from jobs.services import read_labels, standing_frame

HOMES_A_PAGE = 50
VISITS_SHOWN = 5
DEMO_LINK_MAX_AGE_S = 7 * 24 * 3600

_demo_signer = TimestampSigner(salt="jobs.demo-sign-in")

P = ParamSpec("P")


class SignedInRequest(HttpRequest):
    """A request of someone who has signed in."""

    user: User


def page(
    view: Callable[Concatenate[SignedInRequest, P], HttpResponse],
) -> Callable[Concatenate[HttpRequest, P], HttpResponse]:
    """Make a view a page: for signed-in people only, with times in the company's time zone.

    What a service says is not allowed, or not there, is the page that says so. A page is opened or sent a form; a
    view that takes no form says so itself.
    """

    @require_http_methods(["GET", "HEAD", "POST"])
    @wraps(view)
    def in_company_time(request: HttpRequest, *args: P.args, **kwargs: P.kwargs) -> HttpResponse:
        zone = Company.objects.values_list("time_zone", flat=True).first()
        with timezone.override(zone or settings.TIME_ZONE):
            try:
                return view(cast(SignedInRequest, request), *args, **kwargs)
            except DomainError as error:
                if error.status == HTTPStatus.FORBIDDEN:
                    raise PermissionDenied(error.message) from error
                if error.status == HTTPStatus.NOT_FOUND:
                    raise Http404(error.message) from error
                raise

    @wraps(view)
    def signed_in(request: HttpRequest, *args: P.args, **kwargs: P.kwargs) -> HttpResponse:
        if request.user.is_authenticated:
            return in_company_time(request, *args, **kwargs)
        return redirect_to_login(
            request.get_full_path() if request.method in ("GET", "HEAD") else _came_from(request)
        )

    return cast(Callable[Concatenate[HttpRequest, P], HttpResponse], signed_in)


def _came_from(request: HttpRequest) -> str:
    """Return the page that a form was sent from: whose own address may have nothing to show after signing in."""
    referer = request.headers.get("Referer", "")
    is_ours = url_has_allowed_host_and_scheme(referer, {request.get_host()}, require_https=request.is_secure())
    return urlsplit(referer).path if referer and is_ours else reverse("home-list")


def speak(response: HttpResponseBase, user: User) -> HttpResponseBase:
    """Have the pages speak a person's language from the next one on."""
    response.set_cookie(
        settings.LANGUAGE_COOKIE_NAME, user.language, samesite="Lax", httponly=True, secure=settings.HTTPS
    )
    return response


@method_decorator(require_http_methods(["GET", "HEAD", "POST"]), name="dispatch")
class SignIn(LoginView):
    """Sign in with a name and a password."""

    template_name = "jobs/sign_in.html"
    form_class = SignInForm
    redirect_authenticated_user = True

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        """Send whoever opens a service that nobody has set up yet to do that first."""
        return redirect("start") if is_fresh() else super().get(request, *args, **kwargs)

    def form_valid(self, form: Any) -> HttpResponse:
        return cast(HttpResponse, speak(super().form_valid(form), form.get_user()))


def demo_link(user: User) -> str:
    """Return the address (without the host) that signs a person of the demo in without a password, for a week."""
    return reverse("demo-sign-in", args=[_demo_signer.sign(str(user.pk))])


@require_safe
def demo_sign_in(request: HttpRequest, token: str) -> HttpResponseBase:
    """Sign in by a signed link: in the demo only; everywhere else there is no such page."""
    if not settings.DEMO:
        raise Http404
    try:
        user = User.objects.get(pk=UUID(_demo_signer.unsign(token, max_age=DEMO_LINK_MAX_AGE_S)), is_active=True)
    except (BadSignature, ValueError, User.DoesNotExist):
        raise Http404 from None
    login(request, user, backend="django.contrib.auth.backends.ModelBackend")
    return speak(redirect(resolve_url(settings.LOGIN_REDIRECT_URL)), user)


@require_safe
@page
def home_list(request: SignedInRequest) -> HttpResponse:
    """Where everyone starts: the visits that matter to this person, and all homes."""
    query = request.GET.get("q", "").replace("\x00", "").strip()
    is_archive = request.GET.get("archived") == "yes"
    visible = Home.objects.visible_to(request.user)
    names_customers = may(request.user, Act.SEE, Customer)
    homes = _homes_matching(visible.filter(archived_at__isnull=not is_archive), query, by_customer=names_customers)
    context = {
        "page": Paginator(homes, HOMES_A_PAGE).get_page(request.GET.get("page")),
        "query": query,
        "is_archive": is_archive,
        "visits": _next_visits(request.user),
        "shows_own_visits": _works_below(request.user),
        "sees_all": request.user.is_manager or request.user.has_role(Role.OFFICE, Role.CREW_LEAD),
    }
    return render(request, "jobs/home_list.html", context)


def _homes_matching(homes: QuerySet[Home], query: str, *, by_customer: bool) -> QuerySet[Home]:
    """Narrow homes to what was typed; by customers' names only for those who may know them."""
    if query:
        found = Q(code__icontains=query) | Q(name__icontains=query) | Q(sitings__address__icontains=query)
        if by_customer:
            found |= Q(contacts__customer__name__icontains=query)
        homes = homes.filter(found).distinct()
    where_now = Siting.objects.filter(to_on__isnull=True)
    return homes.order_by("code").prefetch_related(Prefetch("sitings", where_now, to_attr="current_sitings"))


def _works_below(user: User) -> bool:
    """Tell whether a person's start is his own visits: crews and leads who don't also run the office."""
    return user.has_role(Role.CREW, Role.CREW_LEAD) and not user.has_role(Role.OFFICE, Role.MANAGER)


def _next_visits(user: User) -> QuerySet[Visit]:
    """Return the next visits: a crew's own, everyone's for office and manager."""
    visits = Visit.objects.visible_to(user).filter(
        state__in=[Visit.State.BOOKED, Visit.State.ON_SITE], ends_at__gte=timezone.now()
    )
    if _works_below(user):
        visits = visits.filter(Q(lead=user) | Q(crew=user)).distinct()
    return visits.select_related("siting__home", "lead").order_by("starts_at", "id")[:VISITS_SHOWN]


# -- the layout ----------------------------------------------------------------------------------------------


@require_safe
@page
def layout(request: SignedInRequest, pk: UUID) -> HttpResponse:
    """The layout under a home: generated from its size, then corrected point by point."""
    siting = _siting(request, pk)
    context = {
        "siting": siting,
        "form": LayoutForm(home=siting.home),
        "why_not_anew": _why_not_anew(siting),
        "frame_surfaces": [(surface.value, surface.label) for surface in FRAME_SURFACES],
        "check_surfaces": [(surface.value, surface.label) for surface in CHECK_SURFACES],
        "outside": Surface.OUTSIDE.value,
        "mark_classes": Benchmark.MarkClass.choices,
        "support_kinds": SupportKind.choices,
        **(shown := _layout_context(siting, request.user)),
        "may_lay_out": shown["may_correct"]
        or (not shown["rows"] and siting.home.archived_at is None and may(request.user, Act.ADD, Point)),
    }
    return render(request, "jobs/layout.html", context)


def _why_not_anew(siting: Siting) -> str:
    """Say why the layout can't be drawn from the home's size; nothing where it can."""
    read = read_labels(standing_frame(siting))
    if not read:
        return ""
    words = _("This layout was read already ({points}): it can't be drawn anew. Correct it point by point below.")
    return words.format(points=", ".join(read))


@require_safe
@page
def layout_drawing(request: SignedInRequest, pk: UUID) -> HttpResponse:
    """The plan and the list of points alone, to be put in place after each correction."""
    return render(request, "jobs/layout_drawing.html", _layout_context(_siting(request, pk), request.user))


@require_safe
@page
def layout_preview(request: SignedInRequest, pk: UUID) -> HttpResponse:
    """The plan of a layout that is not kept yet; 400 with what is wrong, field by field."""
    siting = _siting(request, pk)
    form = LayoutForm(request.GET, home=siting.home)
    laid = form.layout() if form.is_valid() else None
    if laid is None:
        fields = {name: str(errors[0]) for name, errors in form.errors.items() if name != "__all__"}
        message = " ".join(str(error) for error in form.non_field_errors()) or _("Some fields need another look.")
        return JsonResponse({"code": "invalid", "message": message, "fields": fields}, status=400)
    plan = plan_of_generated(siting.home, siting, laid, form.cleaned_data)
    return render(request, "jobs/layout_preview.html", {"count": len(laid.points), **_drawings(plan)})


def _siting(request: SignedInRequest, pk: UUID) -> Siting:
    return get_object_or_404(Siting.objects.visible_to(request.user).select_related("home"), pk=pk)


def _layout_context(siting: Siting, user: User) -> dict[str, Any]:
    """Show a layout; to a crew, who add points but don't correct them, without what corrects."""
    view = layout_view(siting)
    may_correct = may(user, Act.CHANGE, Point) and siting.home.archived_at is None
    drawn = _drawings(view.plan, is_editable=may_correct)
    return {"rows": view.rows, "edition": view.edition, "may_correct": may_correct, **drawn}


def _drawings(plan: LayoutPlan, *, is_editable: bool = False) -> dict[str, str]:
    """Draw a plan both ways; the style sheet shows the one that fits the screen."""
    return {
        "flat": mark_safe(draw_layout(plan, is_editable=is_editable)),  # noqa: S308 - the sheet escapes every text
        "turned": mark_safe(draw_layout(plan, is_turned=True, is_editable=is_editable)),  # noqa: S308 - as above
    }

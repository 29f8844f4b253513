"""Addresses of people, homes, layouts and visits under ``/api/v1/``."""

from django.urls import path
from rest_framework.routers import SimpleRouter

from jobs.api import field_views, views

router = SimpleRouter()
router.register("users", views.UserViewSet)
router.register("device-tokens", views.DeviceTokenViewSet)
router.register("customers", views.CustomerViewSet)
router.register("homes", views.HomeViewSet)
router.register("home-contacts", views.HomeContactViewSet)
router.register("sitings", views.SitingViewSet)
router.register("points", views.PointViewSet)
router.register("supports", views.SupportViewSet)
router.register("neighbour-pairs", views.NeighbourPairViewSet)
router.register("benchmarks", views.BenchmarkViewSet)
router.register("connections", views.ConnectionViewSet)
router.register("straps", views.StrapViewSet)
router.register("visits", views.VisitViewSet)
router.register("rule-sets", views.RuleSetViewSet)
router.register("findings", field_views.FindingViewSet)
router.register("strap-checks", field_views.StrapCheckViewSet)
router.register("work-times", field_views.WorkTimeViewSet)

urlpatterns = [
    path("company/", views.CompanyView.as_view(), name="company"),
    path("rule-book/", views.RuleBookView.as_view(), name="rule-book"),
    *router.urls,
]

"""Root of all addresses: admin, the API, and each app's pages."""

from django.contrib import admin
from django.urls import include, path
from drf_spectacular.views import SpectacularJSONAPIView

urlpatterns = [
    path("admin/", admin.site.urls),
    path("api/v1/schema", SpectacularJSONAPIView.as_view(), name="schema"),
    # What phones keep calling is found first.
    path("api/v1/", include("surveys.api.urls")),
    path("api/v1/", include("calcs.api.urls")),
    path("api/v1/", include("jobs.api.urls")),
    path("", include("jobs.urls")),
    path("", include("surveys.urls")),
    path("", include("calcs.urls")),
]

handler400 = "jobs.api.errors.bad_request"
handler404 = "jobs.api.errors.page_not_found"
handler500 = "jobs.api.errors.server_error"

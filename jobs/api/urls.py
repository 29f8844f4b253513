"""Addresses of people, homes, layouts and visits under ``/api/v1/``."""

from django.urls import path
from rest_framework.routers import SimpleRouter

from jobs.api import (
    account_views,
    assessment_views,
    change_views,
    field_views,
    job_views,
    link_views,
    mail_views,
    photo_upload_views,
    photo_views,
    safety_views,
    views,
    visit_views,
)

router = SimpleRouter()
router.register("users", views.UserViewSet)
router.register("invitations", account_views.InvitationViewSet)
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
router.register("drain-runs", views.DrainRunViewSet)
router.register("drain-nodes", views.DrainNodeViewSet)
router.register("visits", visit_views.VisitViewSet)
router.register("jobs", job_views.JobViewSet)
router.register("trucks", job_views.TruckViewSet)
router.register("time-off", job_views.TimeOffViewSet)
router.register("rule-sets", views.RuleSetViewSet)
router.register("findings", field_views.FindingViewSet)
router.register("strap-checks", field_views.StrapCheckViewSet)
router.register("work-times", field_views.WorkTimeViewSet)
router.register("assessments", assessment_views.AssessmentViewSet)
router.register("block-overrides", assessment_views.BlockOverrideViewSet)
router.register("papers", assessment_views.PaperViewSet)
router.register("hazards", safety_views.HazardViewSet)
router.register("caution-reads", safety_views.CautionReadViewSet)
router.register("head-counts", safety_views.HeadCountViewSet)
router.register("handovers", field_views.HandoverViewSet)
router.register("visit-reports", field_views.VisitReportViewSet)
router.register("mails", mail_views.MailViewSet)
router.register("mail-texts", mail_views.MailTextViewSet)
router.register("signed-links", link_views.SignedLinkViewSet)
router.register("photos", photo_views.PhotoViewSet)
router.register("photo-uploads", photo_upload_views.PhotoUploadViewSet)

urlpatterns = [
    path("company/", views.CompanyView.as_view(), name="company"),
    path("changes/", change_views.ChangesView.as_view(), name="changes"),
    path("enquiry-questions/", job_views.EnquiryQuestionsView.as_view(), name="enquiry-questions"),
    path("rule-book/", views.RuleBookView.as_view(), name="rule-book"),
    path("users/<uuid:pk>/sign-out/", account_views.SignOutView.as_view(), name="user-sign-out"),
    path("users/<uuid:pk>/unlock/", account_views.UnlockView.as_view(), name="user-unlock"),
    path("users/<uuid:pk>/password-link/", account_views.PasswordLinkView.as_view(), name="user-password-link"),
    path("users/<uuid:pk>/erase/", account_views.ErasePersonView.as_view(), name="user-erase"),
    path("jobs/<uuid:pk>/erase/", account_views.EraseCallerView.as_view(), name="job-erase"),
    path("customers/<uuid:pk>/erase/", account_views.EraseCustomerView.as_view(), name="customer-erase"),
    *router.urls,
]

"""Addresses of the pages that need what was measured and what it means."""

from django.urls import path

from calcs import (
    approving_pages,
    choosing_page,
    closing_page,
    letter_page,
    operations_page,
    paper_pages,
    record_page,
    set_aside_page,
    shared_page,
    views,
    work_page,
)

urlpatterns = [
    path("homes/<uuid:pk>/", views.home, name="home"),
    path("surveys/<uuid:pk>/", views.survey, name="survey"),
    path("surveys/<uuid:pk>/progress/", views.survey_progress, name="survey-progress"),
    path("surveys/<uuid:pk>/compute/", views.survey_compute, name="survey-compute"),
    path("surveys/<uuid:pk>/plans/", choosing_page.plans, name="survey-plans"),
    path("surveys/<uuid:pk>/plans/progress/", choosing_page.progress, name="survey-plans-progress"),
    path("surveys/<uuid:pk>/plans/sure/", choosing_page.sure, name="survey-sure-plan-page"),
    path("assessments/<uuid:pk>/letter/", letter_page.letter, name="assessment-letter"),
    path("assessments/<uuid:pk>/letter.pdf", letter_page.letter_pdf, name="assessment-letter-pdf"),
    path("set-aside/", set_aside_page.set_aside, name="set-aside"),
    path("set-aside/<uuid:entry>/leave-out/", set_aside_page.leave_out_entry, name="leave-out"),
    path("shared/<str:secret>/", shared_page.shared, name="shared"),
    path("shared/<str:secret>/photos/<uuid:pk>/", shared_page.shared_photo, {"size": "whole"}, name="shared-photo"),
    path(
        "shared/<str:secret>/photos/<uuid:pk>/small/",
        shared_page.shared_photo,
        {"size": "small"},
        name="shared-photo-small",
    ),
    path("plans/<uuid:pk>/sheet/", paper_pages.plan_sheet, name="plan-sheet"),
    path("plans/<uuid:pk>/sheet.pdf", paper_pages.plan_sheet_pdf, name="plan-sheet-pdf"),
    path("sitings/<uuid:pk>/reading-sheet.pdf", paper_pages.reading_sheet_pdf, name="reading-sheet-pdf"),
    path("plans/<uuid:pk>/approve/", approving_pages.plan_approve, name="plan-approve"),
    path("approvals/<uuid:pk>/withdraw/", approving_pages.approval_withdraw, name="approval-withdraw"),
    path("approvals/<uuid:pk>/work/", work_page.work, name="approval-work"),
    path("approvals/<uuid:pk>/closing/", closing_page.closing, name="approval-closing"),
    path("approvals/<uuid:pk>/record/", record_page.record, name="approval-record"),
    path("approvals/<uuid:pk>/record.pdf", record_page.record_pdf, name="approval-record-pdf"),
    path("operations/", operations_page.figures, name="operations"),
]

"""Addresses of the pages about people and homes."""

from django.contrib.auth.views import LogoutView
from django.urls import path

from jobs import account_views, change_pages, link_pages, people_views, photo_pages, views

urlpatterns = [
    path("", views.home_list, name="home-list"),
    path("sign-in/", views.SignIn.as_view(), name="sign-in"),
    path("sign-out/", LogoutView.as_view(next_page="sign-in"), name="sign-out"),
    path("demo/<str:token>/", views.demo_sign_in, name="demo-sign-in"),
    path("start/", account_views.start, name="start"),
    path("account/", account_views.account, name="account"),
    path("account/password/", account_views.password, name="password"),
    path("account/browsers/end/", account_views.end_browser, name="end-browser"),
    path("account/devices/", account_views.add_device, name="add-device"),
    path("account/devices/<uuid:pk>/revoke/", account_views.revoke_device, name="revoke-device"),
    path("invitation/<str:secret>/", account_views.invitation, name="invitation"),
    path("password/<str:uidb64>/<str:token>/", account_views.SetPassword.as_view(), name="password-reset"),
    path("people/", people_views.people, name="people"),
    path("people/invite/", people_views.invite, name="invite"),
    path("people/invitations/<uuid:pk>/revoke/", people_views.revoke_invitation, name="revoke-invitation"),
    path("people/<uuid:pk>/", people_views.person, name="person"),
    path("people/<uuid:pk>/sign-out/", people_views.sign_out, name="sign-person-out"),
    path("people/<uuid:pk>/unlock/", people_views.unlock, name="unlock-person"),
    path("people/<uuid:pk>/password-link/", people_views.password_link, name="password-link"),
    path("people/<uuid:pk>/erase/", people_views.erase_person, name="erase-person"),
    path("customers/<uuid:pk>/erase/", people_views.erase_customer, name="erase-customer"),
    path("homes/<uuid:pk>/changes/", change_pages.changes, {"thing": "home"}, name="home-changes"),
    path("surveys/<uuid:pk>/changes/", change_pages.changes, {"thing": "survey"}, name="survey-changes"),
    path("homes/<uuid:pk>/archive/", change_pages.archive_home, name="home-archive"),
    path("homes/<uuid:pk>/restore/", change_pages.restore_home, name="home-restore"),
    path("homes/<uuid:pk>/links/", link_pages.home_links, name="home-links"),
    path("links/<uuid:pk>/take-back/", link_pages.take_back_link, name="link-take-back"),
    path("sitings/<uuid:pk>/photos/", photo_pages.photos, name="photos"),
    path("photos/<uuid:pk>/", photo_pages.photo, name="photo"),
    path("photos/<uuid:pk>/file/", photo_pages.photo_file, name="photo-file"),
    path("photos/<uuid:pk>/thumbnail/", photo_pages.photo_thumbnail, name="photo-thumbnail"),
    path("photos/<uuid:pk>/archive/", photo_pages.archive_photo, name="photo-archive"),
    path("sitings/<uuid:pk>/layout/", views.layout, name="layout"),
    path("sitings/<uuid:pk>/layout/drawing/", views.layout_drawing, name="layout-drawing"),
    path("sitings/<uuid:pk>/layout/preview/", views.layout_preview, name="layout-preview"),
]

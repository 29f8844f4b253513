"""The company, its people, its customers, and its rules."""

from typing import TYPE_CHECKING, Any

from django.contrib import admin
from django.contrib.auth.admin import UserAdmin
from django.contrib.auth.forms import UserChangeForm
from django.http import HttpRequest
from django.utils.translation import gettext_lazy as _

from jobs.account_admin import erase, sign_out_everywhere, unlock
from jobs.accounts import check_may_change
from jobs.admin_base import KeptAdmin, VersionedAdmin
from jobs.editing import VersionedForm
from jobs.errors import DomainError
from jobs.models import Company, Customer, HomeContact, Role, RuleSet, User

if TYPE_CHECKING:  # generic to the type checker only
    PeopleAdmin = UserAdmin[User]
    PersonFields = UserChangeForm[User]
else:
    PeopleAdmin = UserAdmin
    PersonFields = UserChangeForm


@admin.register(Company)
class CompanyAdmin(VersionedAdmin):
    list_display = ["name", "time_zone", "currency", "tax_pct", "rule_set"]
    list_select_related = ["rule_set"]
    search_fields = ["name"]
    autocomplete_fields = ["rule_set"]

    def has_add_permission(self, request: HttpRequest) -> bool:
        """There is one company."""
        return super().has_add_permission(request) and not Company.objects.exists()


class PersonForm(VersionedForm, PersonFields):
    """A person, as the library's own form has it, with the version that it was filled from."""


class RoleFilter(admin.SimpleListFilter):
    """People who have a role, among others."""

    title = _("role")
    parameter_name = "role"

    def lookups(self, request: HttpRequest, model_admin: Any) -> Any:
        """Offer the roles."""
        return Role.choices

    def queryset(self, request: HttpRequest, queryset: Any) -> Any:
        """Keep the people who have the role."""
        return queryset.filter(roles__contains=[self.value()]) if self.value() in Role.values else queryset


@admin.register(User)
class PersonAdmin(VersionedAdmin, PeopleAdmin):
    form = PersonForm
    list_display = ["username", "first_name", "last_name", "email", "phone", "roles", "is_active"]
    list_filter = [RoleFilter, "is_active", "is_staff", ("erased_at", admin.EmptyFieldListFilter)]
    search_fields = ["username", "first_name", "last_name", "email", "phone"]
    filter_horizontal = []
    fieldsets = [
        (None, {"fields": ["username", "password"]}),
        (_("Person"), {"fields": ["first_name", "last_name", "email", "phone", "language", "length_unit"]}),
        (_("Work"), {"fields": ["roles", "skills", "is_active", "is_staff", "is_superuser"]}),
        (_("Times"), {"fields": ["last_login", "date_joined", "erased_at"]}),
    ]
    readonly_fields = ["last_login", "date_joined"]
    actions = [sign_out_everywhere, unlock, erase]

    def has_change_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        """Keep those who run the instance out of a manager's hands."""
        try:
            if obj is not None and isinstance(request.user, User):
                check_may_change(by=request.user, person=obj)
        except DomainError:
            return False
        return super().has_change_permission(request, obj)

    def get_readonly_fields(self, request: HttpRequest, obj: Any = None) -> tuple[Any, ...]:
        """Only who runs the instance makes somebody else do so."""
        fields = super().get_readonly_fields(request, obj)
        return fields if request.user.is_superuser else (*fields, "is_superuser")


@admin.register(Customer)
class CustomerAdmin(VersionedAdmin):
    list_display = ["name", "phone", "email", "archived_at"]
    list_filter = [("archived_at", admin.EmptyFieldListFilter), ("erased_at", admin.EmptyFieldListFilter)]
    search_fields = ["name", "phone", "email", "postal_address", "homes__home__code"]
    actions = [erase]


@admin.register(HomeContact)
class HomeContactAdmin(VersionedAdmin):
    list_display = ["customer", "home", "part", "from_on", "to_on"]
    list_filter = ["part", ("to_on", admin.EmptyFieldListFilter)]
    list_select_related = ["customer", "home"]
    autocomplete_fields = ["customer", "home"]
    search_fields = ["customer__name", "home__code", "home__name"]


@admin.register(RuleSet)
class RuleSetAdmin(KeptAdmin):
    """A version is added, never changed: results refer to it."""

    list_display = ["name", "version", "source", "created_at"]
    search_fields = ["name", "source"]
    ordering = ["name", "-version"]

    def has_change_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        """Versions stay as they are."""
        return False

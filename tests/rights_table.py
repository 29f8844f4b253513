"""Who may do what at which address: one line a route, written from what was decided, not read off the code.

A line names the methods that a route has and who may use each. Whoever else is signed in is refused, whoever is not
is sent to sign in (over the API: 401), and a method without a word is answered 405. HEAD goes with GET.

``*``   only for homes that the person may see: manager, office and crew leads all, crew those of their visits.
        To another crew such a thing is not there.
``+``   joins people: ``office+leads``.

A part such as ``<kind=homes>`` tries the route ``<kind>`` with this value: a second line where it decides who may.
"""

from collections.abc import Mapping

WHO: Mapping[str, frozenset[str]] = {
    "manager": frozenset({"manager"}),
    "office": frozenset({"manager", "office"}),
    "leads": frozenset({"lead", "visit_lead"}),
    "visit_lead": frozenset({"visit_lead"}),  # the lead of the visit in question
    "field": frozenset({"lead", "visit_lead", "crew", "other_crew"}),  # who measures: crew leads and crews
    "everybody": frozenset({"manager", "office", "lead", "visit_lead", "crew", "other_crew"}),
    "signed_in": frozenset({"manager", "office", "lead", "visit_lead", "crew", "other_crew", "no_role"}),
    "owner": frozenset({"crew"}),  # whose own the thing is
    "nobody": frozenset(),
}
PEOPLE = ("manager", "office", "lead", "visit_lead", "crew", "other_crew", "no_role")
OUTSIDE = ("stranger", "inactive", "revoked", "link_holder")
WHO = {
    **WHO,
    "anyone": frozenset({*PEOPLE, *OUTSIDE}),
    "secret": frozenset({*PEOPLE, *OUTSIDE} - {"link_holder"}),  # with the right secret; a link's opens nothing here
    "linked": frozenset({"link_holder"}),
}

API = {
    # -- the company and its people --
    "schema": "GET signed_in",
    "company/": "GET everybody, PATCH manager",
    "rule-book/": "GET everybody",
    "rule-sets/": "GET everybody, POST manager",
    "rule-sets/<pk>/": "GET everybody",
    "users/": "GET everybody, POST manager",
    "users/<pk>/": "GET everybody, PATCH manager",
    "users/me/": "GET signed_in",
    "users/<pk>/sign-out/": "POST manager",
    "users/<pk>/unlock/": "POST manager",
    "users/<pk>/password-link/": "POST manager",
    "users/<pk>/erase/": "POST manager",
    "invitations/": "GET manager, POST manager",
    "invitations/<pk>/": "GET manager, DELETE manager",
    "device-tokens/": "GET signed_in, POST signed_in",  # POST: or with a name and a password
    "device-tokens/<pk>/": "GET owner+manager, DELETE owner+manager",
    "operations/": "GET manager",
    # -- customers and homes --
    "customers/": "GET office+leads, POST office",
    "customers/<pk>/": "GET office+leads, PATCH office, DELETE office",
    "customers/<pk>/restore/": "POST office",
    "customers/<pk>/erase/": "POST manager",
    "home-contacts/": "GET office+leads, POST office",
    "home-contacts/<pk>/": "GET office+leads, PATCH office",
    "homes/": "GET everybody, POST office",
    "homes/<pk>/": "GET everybody*, PATCH office+leads*, DELETE office*",
    "homes/<pk>/restore/": "POST office*",
    "signed-links/": "GET office+leads, POST office",
    "signed-links/<pk>/": "GET office+leads, DELETE office",
    "signed-links/<pk>/uses/": "GET office+leads",
    "changes/": "GET everybody*",
    # -- what is under a home --
    "sitings/": "GET everybody, POST office",
    "sitings/<pk>/": "GET everybody*, PATCH office+leads*",
    "sitings/<pk>/layout/": "GET everybody*, POST everybody*",  # to replace one: office+leads
    "points/": "GET everybody, POST everybody*",
    "points/<pk>/": "GET everybody*, PATCH office+leads*, DELETE office+leads*",
    "points/<pk>/restore/": "POST office+leads*",
    "supports/": "GET everybody, POST everybody*",
    "supports/<pk>/": "GET everybody*, PATCH office+leads*",
    "neighbour-pairs/": "GET everybody, POST everybody*",
    "neighbour-pairs/<pk>/": "GET everybody*, PATCH office+leads*, DELETE office+leads*",
    "benchmarks/": "GET everybody, POST everybody*",
    "benchmarks/<pk>/": "GET everybody*, PATCH office+leads*",
    "connections/": "GET everybody, POST everybody*",
    "connections/<pk>/": "GET everybody*, PATCH office+leads*, DELETE office+leads*",
    "connections/<pk>/restore/": "POST office+leads*",
    "straps/": "GET everybody, POST everybody*",
    "straps/<pk>/": "GET everybody*, PATCH office+leads*, DELETE office+leads*",
    "straps/<pk>/restore/": "POST office+leads*",
    "drain-runs/": "GET everybody, POST everybody*",
    "drain-runs/<pk>/": "GET everybody*, PATCH office+leads*, DELETE office+leads*",
    "drain-runs/<pk>/restore/": "POST office+leads*",
    "drain-nodes/": "GET everybody, POST everybody*",
    "drain-nodes/<pk>/": "GET everybody*, PATCH office+leads*, DELETE office+leads*",
    # -- visits and what is noted at them --
    "visits/": "GET everybody, POST office",
    "visits/<pk>/": "GET everybody*, PATCH office+visit_lead*",
    "day/": "GET everybody",
    "findings/": "GET everybody, POST field*",
    "findings/<pk>/": "GET everybody*, DELETE manager+leads*",
    "findings/<pk>/record/": "POST office+leads*",
    "strap-checks/": "GET everybody, POST field*",
    "strap-checks/<pk>/": "GET everybody*",
    "assessments/": "GET everybody, POST manager+leads*",
    "assessments/<pk>/": "GET everybody*, PATCH manager+leads*",
    "assessments/<pk>/blocks/": "GET everybody*",
    "block-overrides/": "GET everybody, POST manager*",
    "block-overrides/<pk>/": "GET everybody*",
    "papers/": "GET everybody, POST office+leads*",  # the company's own: office
    "papers/<pk>/": "GET everybody*, PATCH office+leads*, DELETE office+leads*",
    "papers/<pk>/restore/": "POST office+leads*",
    "papers/missing/": "GET everybody*",
    "hazards/": "GET everybody, POST everybody*",
    "hazards/<pk>/": "GET everybody*",
    "hazards/<pk>/clear/": "POST office+leads*",
    "caution-reads/": "GET everybody, POST field*",
    "caution-reads/<pk>/": "GET everybody*",
    "work-times/": "GET everybody, POST field*",
    "work-times/<pk>/": "GET office+leads+owner*",
    "photos/": "GET everybody, POST everybody*",
    "photos/<pk>/": "GET everybody*, DELETE manager+leads*",
    "photos/<pk>/file/": "GET everybody*",
    "photos/<pk>/thumbnail/": "GET everybody*",
    # -- measuring, and what follows from it --
    "surveys/": "GET everybody, POST field*",
    "surveys/<pk>/": "GET everybody*, PATCH leads+owner*",
    "surveys/<pk>/submit/": "POST field*",
    "surveys/<survey_id>/readings/": "POST field*",
    "surveys/<survey_id>/calculations/": "GET everybody*, POST everybody*",
    "surveys/<survey_id>/sure-plan/": "POST everybody*",
    "setups/": "GET everybody, POST field*",
    "setups/<pk>/": "GET everybody*, PATCH leads+owner*, DELETE leads+owner*",
    "readings/": "GET everybody",
    "readings/<pk>/": "GET everybody*",
    "calculations/": "GET everybody",
    "calculations/<pk>/": "GET everybody*",
    "calculations/<pk>/run-again/": "POST manager*",
    "answers/": "GET everybody",
    "answers/<pk>/": "GET everybody*",
    "plans/": "GET everybody",
    "plans/<pk>/": "GET everybody*",
    "trials/": "GET everybody, POST everybody*",
    "trials/<pk>/": "GET everybody*",
    "pass-entries/": "GET everybody, POST field*",
    "pass-entries/<pk>/": "GET everybody*",
    "closings/": "GET everybody, POST manager+leads*",
    "closings/<pk>/": "GET everybody*, PATCH manager+leads*",
    "closings/<pk>/close/": "POST manager+leads*",
    "sync/": "GET everybody, POST field",  # what an entry names is looked at entry by entry
    "sync/<pk>/leave-out/": "POST office+owner*",
    # -- files --
    "imports/<kind=customers>/": "POST office",
    "imports/<kind=homes>/": "POST office",
    "imports/<kind=layouts>/": "POST office+leads",
    "imports/<kind=readings>/": "POST office+leads",
    "imports/<kind=paper-surveys>/": "POST office+leads",
    "exports/<kind=customers>/": "GET office+leads",
    "exports/<kind=homes>/": "GET office+leads",
    "exports/<kind=layouts>/": "GET office+leads",
    "exports/<kind=readings>/": "GET office+leads",
    "exports/<kind=paper-surveys>/": "GET office+leads",
}

PAGES = {
    # -- getting in --
    "sign-in/": "GET anyone, POST anyone",
    "sign-out/": "POST anyone",
    "start/": "GET anyone, POST anyone",  # once set up it leads to the sign-in
    "demo/<token>/": "GET nobody",  # a page of the demo only
    "invitation/<secret>/": "GET secret, POST secret",
    "password/<uidb64>/<token>/": "GET secret, POST secret",
    "shared/<secret>/": "GET linked",
    "shared/<secret>/photos/<pk>/": "GET linked",
    "shared/<secret>/photos/<pk>/small/": "GET linked",
    # -- one's own account --
    "account/": "GET signed_in, POST signed_in",
    "account/password/": "GET signed_in, POST signed_in",
    "account/browsers/end/": "POST signed_in",
    "account/devices/": "POST signed_in",
    "account/devices/<pk>/revoke/": "POST owner",
    # -- people and customers --
    "people/": "GET manager",
    "people/invite/": "POST manager",
    "people/invitations/<pk>/revoke/": "POST manager",
    "people/<pk>/": "GET manager, POST manager",
    "people/<pk>/sign-out/": "POST manager",
    "people/<pk>/unlock/": "POST manager",
    "people/<pk>/password-link/": "POST manager",
    "people/<pk>/erase/": "GET manager, POST manager",
    "customers/<pk>/erase/": "GET manager, POST manager",
    # -- homes, what is under them, what was measured --
    "": "GET signed_in",
    "homes/<pk>/": "GET everybody*",
    "homes/<pk>/changes/": "GET everybody*",
    "homes/<pk>/archive/": "POST office*",
    "homes/<pk>/restore/": "POST office*",
    "homes/<pk>/links/": "GET office+leads*, POST office*",
    "homes/<pk>/hazards/": "GET everybody*, POST everybody*",
    "hazards/<pk>/clear/": "POST office+leads*",
    "visits/<pk>/": "GET everybody*",
    "visits/<pk>/read/": "POST field*",
    "visits/<pk>/inspection/": "GET everybody*, POST field*",
    "visits/<pk>/inspection/photos/": "POST everybody*",
    "findings/<pk>/record/": "POST office+leads*",
    "sitings/<pk>/drains/": "GET everybody*, POST everybody*",
    "links/<pk>/take-back/": "POST office*",
    "sitings/<pk>/assessment/": "GET everybody*, POST manager+leads*",
    "assessments/<pk>/": "GET manager+leads*, POST manager+leads*",
    "assessments/<pk>/override/": "POST manager*",
    "assessments/<pk>/letter/": "GET office+leads*",
    "assessments/<pk>/letter.pdf": "GET office+leads*",
    "sitings/<pk>/papers/": "GET everybody*, POST office+leads*",
    "papers/": "GET office, POST office",
    "papers/<pk>/": "GET office+leads*, POST office+leads*",
    "papers/<pk>/archive/": "POST office+leads*",
    "sitings/<pk>/photos/": "GET everybody*, POST everybody*",
    "photos/<pk>/": "GET everybody*",
    "photos/<pk>/file/": "GET everybody*",
    "photos/<pk>/thumbnail/": "GET everybody*",
    "photos/<pk>/archive/": "POST manager+leads*",
    "sitings/<pk>/layout/": "GET everybody*",
    "sitings/<pk>/layout/drawing/": "GET everybody*",
    "sitings/<pk>/layout/preview/": "GET everybody*",
    "surveys/<pk>/": "GET everybody*",
    "surveys/<pk>/changes/": "GET everybody*",
    "surveys/<pk>/progress/": "GET everybody*",
    "surveys/<pk>/compute/": "POST everybody*",
    "approvals/<pk>/work/": "GET everybody*, POST field*",
    "approvals/<pk>/closing/": "GET everybody*, POST manager+leads*",
    "approvals/<pk>/record/": "GET everybody*",
    "approvals/<pk>/record.pdf": "GET everybody*",
    "surveys/<pk>/plans/": "GET everybody*, POST everybody*",
    "surveys/<pk>/plans/progress/": "GET everybody*",
    "surveys/<pk>/plans/sure/": "POST everybody*",
    "set-aside/": "GET signed_in",
    "set-aside/<entry>/leave-out/": "POST office+owner*",
    # -- files and figures --
    "import/": "GET office+leads",
    "import/<name=customers>/": "GET office+leads, POST office",
    "import/<name=homes>/": "GET office+leads, POST office",
    "import/<name=layouts>/": "GET office+leads, POST office+leads",
    "import/<name=readings>/": "GET office+leads, POST office+leads",
    "import/<name=paper-surveys>/": "GET office+leads, POST office+leads",
    "export/<name=customers>/": "GET office+leads",
    "export/<name=homes>/": "GET office+leads",
    "export/<name=layouts>/": "GET office+leads",
    "export/<name=readings>/": "GET office+leads",
    "export/<name=paper-surveys>/": "GET office+leads",
    "operations/": "GET manager",
}

TABLE = {**{f"api/v1/{route}": line for route, line in API.items()}, **PAGES}

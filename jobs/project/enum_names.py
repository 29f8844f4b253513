"""Names of choices in the description of the API, where the one that would be made up says too little."""

ENUM_NAMES = {
    **{name: f"jobs.models.{name}" for name in ("Condition", "ConnectionKind", "HomeKind", "SupportKind")},
    "HazardKind": "jobs.models.Hazard.Kind",
    "InvitationState": "jobs.models.Invitation.State",
    "MailKind": "jobs.models.MailKind",
    "PaperKind": "jobs.models.Paper.Kind",
    "SignedLinkState": "jobs.models.SignedLink.State",
    "StrapCheckMethod": "jobs.models.StrapCheck.Method",
    "Skill": "jobs.models.Skill",
    "VisitKind": "jobs.models.Visit.Kind",
    "VisitState": "jobs.models.Visit.State",
    "SurveyMethod": "surveys.models.Method",
    "SurveyState": "surveys.models.Survey.State",
    "CalculationState": "calcs.models.Calculation.State",
}

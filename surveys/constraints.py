"""What a person reads when the database refuses a row of this app: the field to look at, and a sentence."""

SENTENCES: dict[str, tuple[str, str]] = {
    "survey_submitted_has_time_and_revision": ("state", "A survey is handed in by submitting it."),
    "survey_sd_positive": ("reading_sd_in", "Give a standard deviation above 0 in."),
    "setup_code_once_a_survey": ("code", "Another setup of this survey has this code."),
    "setup_has_a_code": ("code", "Give the setup a code."),
    "setup_sense_agrees_with_trial": ("sense_trial", "The trial says the opposite of the sense: try it again."),
    "setup_sd_positive": ("reading_sd_in", "Give a standard deviation above 0 in."),
    "reading_replaced_once": ("replaces", "Another correction of this reading came first."),
    "reading_settled_once": ("settles", "This contested correction is settled already."),
    "reading_only_a_correction_withdraws": ("value", "Only a correction may be empty."),
    "reading_correction_has_a_reason": ("reason", "Say why the reading is corrected."),
    "reading_contested_is_a_correction": ("replaces", "Only a correction can be contested."),
    "reading_settling_is_a_correction": ("settles", "Settling needs the reading that it replaces."),
    "reading_not_its_own_correction": ("replaces", "A reading can't correct itself."),
    "reading_round_1_to_9": ("round", "Rounds are 1 to 9."),
    "reading_setup_in_survey": ("setup", "This setup belongs to another survey."),
    "sync_entry_kept_once": ("id", "This entry is kept already."),
    "sync_entry_taken_once": ("id", "This entry was taken already with other content."),
    "sync_entry_taken_has_a_time": ("state", "An entry that is taken says when."),
    "sync_entry_set_aside_has_a_reason": ("reason", "An entry that is set aside says why."),
}

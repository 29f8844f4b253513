"""What a person reads when the database refuses a row of this app: the field to look at, and a sentence."""

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

SENTENCES: dict[str, tuple[str, Promise]] = {
    "survey_submitted_has_time_and_revision": ("state", _("A survey is handed in by submitting it.")),
    "survey_sd_positive": ("reading_sd_in", _("Give a standard deviation above 0 in.")),
    "setup_code_once_a_survey": ("code", _("Another setup of this survey has this code.")),
    "setup_has_a_code": ("code", _("Give the setup a code.")),
    "setup_sense_agrees_with_trial": ("sense_trial", _("The trial says the opposite of the sense: try it again.")),
    "setup_sd_positive": ("reading_sd_in", _("Give a standard deviation above 0 in.")),
    "reading_replaced_once": ("replaces", _("Another correction of this reading came first.")),
    "reading_settled_once": ("settles", _("This contested correction is settled already.")),
    "reading_only_a_correction_withdraws": ("value", _("Only a correction may be empty.")),
    "reading_correction_has_a_reason": ("reason", _("Say why the reading is corrected.")),
    "reading_contested_is_a_correction": ("replaces", _("Only a correction can be contested.")),
    "reading_settling_is_a_correction": ("settles", _("Settling needs the reading that it replaces.")),
    "reading_not_its_own_correction": ("replaces", _("A reading can't correct itself.")),
    "reading_round_1_to_9": ("round", _("Rounds are 1 to 9.")),
    "reading_setup_in_survey": ("setup", _("This setup belongs to another survey.")),
    "sync_entry_kept_once": ("id", _("This entry is kept already.")),
    "sync_entry_taken_once": ("id", _("This entry was taken already with other content.")),
    "sync_entry_taken_has_a_time": ("state", _("An entry that is taken says when.")),
    "sync_entry_left_out_says_why": ("left_out_why", _("Say why the entry is left out.")),
    "sync_entry_set_aside_has_a_reason": ("reason", _("An entry that is set aside says why.")),
}

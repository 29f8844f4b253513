"""The whole record in one file, and back: the database and the uploaded files, with a hash of everything."""


class BackupError(Exception):
    """Why there is no backup, or why nothing was restored, in one sentence."""

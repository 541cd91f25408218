"""What the upload page calls things: states, parts, steps, choices, and what it says beside them."""

from __future__ import annotations

STAGES = {
    "waiting": "waiting for the drive",
    "measured": "drive before is in",
    "tested": "road test is in",
    "closed": "closed",
}
"""How a person reads the states of a job."""
PHASES = {"before": "Drive before the work", "after": "Road test after the work"}
LINK_TEXTS = {
    "owner": ("Your speedometer drive", "Please record or send the drive for your speedometer here:"),
    "customer": ("Your speedometer report", "The report on your speedometer is here:"),
}
"""Subject and short text that go with a link."""
_OUTSIDE = "To send them to others, start the page with --public-url and the address under which others reach it."
LINK_REACH = {
    "machine": f"These links work on this machine alone. {_OUTSIDE}",
    "cable": "These links carry an address that this machine gave itself for want of a network; they work on no "
    f"phone. {_OUTSIDE}",
    "network": f"These links work in the shop's own network alone, not at an owner's home. {_OUTSIDE}",
    "untrusted": "A phone that does not trust the certificate of this shop warns before it opens them.",
}
"""How far the links of a job carry, where that is not far."""
HEALTH = {
    "database": "The job store cannot be written.",
    "writing": "The data folder cannot be written.",
    "disk": "The disk is nearly full, uploads are refused.",
    "workers": "No analysis is being done: a worker hangs or has ended.",
    "certificate": "The certificate for https ends soon or has ended; make a new one with "
    "speedcal serve --make-certificate and start the page again.",
}
"""What a supervisor reads of what does not work."""
BACKUP = {
    "made": "{jobs} jobs with {drives} drives are in {file}. Keep it like a key: it opens every link.",
    "restored": "{jobs} jobs with {drives} drives are back in {folder}.",
    "missing": "Warning: {count} files that the job store mentions are missing.",
}
NEWS = {"drive": "new drive", "result": "new result"}
"""How the list of jobs tells what the shop has not seen yet."""
NEWS_STATE = "with something new"
PEOPLE_TITLE = "People and what they did"
WHO = {"": "The shop", "owner": "The owner"}
"""How somebody without a name is called."""
HISTORY = {
    "save_job": "saved the job",
    "import_job": "imported the job",
    "close_job": "closed the job or opened it again",
    "analyse_again": "had it analyzed again",
    "delete_job": "deleted the job",
    "add_link": "made a link",
    "revoke_link": "ended a link",
    "post_new_drive": "sent a drive",
    "post_drive": "changed a drive",
    "remove_drive": "removed a drive",
    "restore_drive": "put a drive back",
    "swap_files": "swapped the files of a drive",
    "begin_film": "sent a film",
    "mark_film": "marked the dial in a film",
    "accept_film": "took the readings of a film",
    "delete_film": "deleted a film",
    "save_person": "saved a tech",
    "remove_person": "removed a tech",
}
"""What a form did, by the name of what carries it out."""
STATE_TITLE = "State of the service"
TRUST_TITLE = "Trust the certificate of this shop"

SERVE = {
    "open": "Open {address} (stop with Ctrl+C)",
    "open_elsewhere": "From other devices: {address}",
    "no_https": "Warning: this is plain http. Whoever is in the same network can read the passcode and the drives, "
    "and phones do not let the recorder use their position. Make a certificate with --make-certificate.",
    "certificate_made": "A certificate for {names} lies in {folder}; start the page again. The key that signed it is "
    "gone: for other names make a new one, which every device has to trust anew.",
    "trust": "Devices of the shop trust the certificate at {address}",
    "certificate_until": "The certificate for https is valid until {day}.",
    "certificate_ends": "Warning: the certificate for https is valid until {day}. Make a new one with "
    "--make-certificate.",
    "log": "The log is kept in {folder}",
    "passcode_set": "The passcode is set; everybody is signed out.",
    "unit": "Save this as /etc/systemd/system/speedcal.service, then: systemctl enable --now speedcal",
    "unlocked": "Unlocked: wrong passcodes so far no longer count.",
}
"""What the command says when it starts the page."""
UNNAMED = {
    "job": "job without a number",
    "file": "file without a name",
    "typed": "typed readings",
    "drive": "drive without a track",
    "checks": "checks",
    "filmed": "as read from the film",
}
FILM_TITLES = {
    "send": "Film of the dial",
    "prepare": "The film is here",
    "broken": "The film cannot be used",
    "mark": "Marks of the dial",
    "read": "The film is being read",
    "accept": "Is the needle found?",
    "kept": "The film is kept",
}
"""Headings of the steps from a film to readings."""
PARTS = {
    "track": "track file",
    "readings": "readings",
    "unit": "unit of the dial",
    "column": "column of the speed",
    "session": "vehicle or session",
    "zone": "time zone of the readings",
    "clock_offset_s": "clock offset",
    "read_from": "where the needle was seen from",
    "rounding": "how readings were rounded",
    "terrain": "how hilly it was",
    "dial_unit": "unit that stands on the dial",
    "checks": "checks",
}
"""How a person calls what a drive is made of."""
QUESTIONS = {
    "read_from": {
        "": "not said: square on",
        "square": "square on",
        "side": "from the passenger's seat",
        "film": "on a film",
        "logged": "digital, or logged",
    },
    "rounding": {
        "": "not said: nearest mark",
        "nearest": "nearest mark",
        "down": "the mark below",
        "exact": "not rounded: needle held on its marks",
    },
    "terrain": {"": "not said", "level": "level", "rolling": "rolling", "mountainous": "mountainous"},
    "dial_unit": {"": "not looked at", "mph": "mph", "km/h": "km/h"},
}
"""What no file shows of itself, and the answers."""
HINTS = {
    "terrain": "Only when the track has no heights",
    "dial_unit": "Where you looked at the scale that was read: then no other unit is suspected",
}
"""What to know before one of them is answered."""
SESSION_OVER = "You were signed out meanwhile. Sign in, and go on with what you typed."
WRONG_PASSCODE = "That is not the passcode of this shop."
CHOICES = {
    "no_rule": "no tolerance yet",
    "own_rule": "your own rule, below",
    "no_family": "any number of teeth",
    "not_verified": "not verified",
}
"""Choices of the form that stand for nothing, for something of your own, or with a reservation."""

_TITLES = {
    401: "Sign in first",
    403: "Not allowed",
    404: "Not found",
    408: "Too slow",
    409: "Not now",
    413: "Too large",
    422: "This needs a change",
    429: "Too many attempts",
    500: "Something broke",
    503: "Busy",
    507: "No room",
}


def title_of(status: int) -> str:
    """Return the heading of a page that refuses, by the status of its answer."""
    return _TITLES.get(status, "Not possible")

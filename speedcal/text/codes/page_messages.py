"""Words for the upload page."""

from __future__ import annotations

from collections.abc import Sequence

from speedcal.text.messages import Template

_NOTHING = "empty"
_BACK = "Go back to the job"
_ANOTHER_DATABASE = "Use SQLite (leave --database out) or postgresql+psycopg://user@host/name"


def _listed(changes: Sequence[tuple[str, str, str]]) -> str:
    """List what somebody changed: name, what it was, what it is."""
    named = [f"{name} was {was or _NOTHING}, is {now or _NOTHING}" for name, was, now in changes if name]
    return f": {'; '.join(named)}" if named else ""


REFUSALS: dict[str, tuple[Template, Template]] = {
    # the form of a job
    "choose_one_of_the_list": ("choose one from the list", ""),
    "number_out_of_reach": ("{found:quoted} is too large", ""),
    "comma_unclear": (
        lambda values: (
            f"{values['found']!r} can be {values['found'].replace(',', '')} or {values['found'].replace(',', '.')}; "
            "write it without a comma"
        ),
        "",
    ),
    "setting_not_read": ("{found:quoted} should be written as name = number", ""),
    "own_rule_without_figures": ("your own rule needs at least one figure further down", ""),
    "figures_of_another_rule": ("choose the rule that the figures typed below belong to, or empty them", ""),
    "no_kind_of_link": ("there is no such kind of link", "Choose owner or customer"),
    "legal_speed_not_read": ("the legal speed {found:quoted} is not a speed", "Write it in {wanted_unit}"),
    # handing in a drive
    "nothing_sent": ("nothing was chosen or typed", "Choose a track file, then the readings"),
    "readings_given_twice": (
        "readings were given in more than one way",
        "Keep one: a file, typed rows, or held speeds",
    ),
    "checks_need_no_track": (
        "checks have their true speed beside them and need neither a track nor held speeds",
        "Clear the box for checks, or hand them in as a drive of their own",
    ),
    "file_sent_empty": ("the file is empty", "Choose the file that the recording program saved"),
    "file_sent_too_large": (
        "the file is larger than {most_mb} MB",
        "Cut the drive into shorter pieces; everything else you sent was kept",
    ),
    "file_too_long": (
        "the file holds {found} {what}, and this page takes {most} at the most",
        "Cut the drive into shorter pieces, or run it with the command on your own computer",
    ),
    "clock_offset_not_read": (
        "the clock offset {found:quoted} is not a number of seconds",
        "Write it like -3600 or 12.5",
    ),
    "too_many_typed": ("more than {most} readings were typed", "Upload them as a file instead"),
    "pasted_and_typed": ("a table with a heading was pasted, and rows were typed as well", "Keep one of the two"),
    "too_many_held_typed": ("more than {most} held speeds were typed", "Keep those of one drive"),
    "held_not_a_speed": ("{found:quoted} among the held speeds is not a speed", "Write numbers only, such as 30 40 50"),
    "too_many_drives": ("the job can have {most} drives at the most", "Remove one that is not needed"),
    "road_test_is_in": (
        "the road test is in, and this drive is what it is judged by",
        "Ask the shop, which can still change or remove it",
    ),
    "drive_changed_meanwhile": (
        lambda values: f"somebody changed this drive while you were at it{_listed(values['changes'])}",
        "Nothing of yours is saved yet. Send it again to put it in place of that; choose files again first",
    ),
    "job_changed_meanwhile": (
        "somebody saved this job at the same moment, nothing of yours was kept",
        "Go back: your browser still has what you typed; load the job in another tab to see what changed",
    ),
    "job_closed": ("the job is closed", "The shop can open it again"),
    "job_deleted": ("the job was deleted meanwhile, nothing was kept", "Ask the shop"),
    # a film of the dial
    "film_not_announced": ("no film was chosen", "Choose the film on its page; that page needs JavaScript"),
    "film_size": ("the film is empty or larger than {most_mb} MB", "Cut it down to the drive, or film in 1080p"),
    "too_many_films": ("the job has {most} films already", "Accept the readings of one of them, or delete it"),
    "film_piece_lost": ("a piece of the film got lost on the way", "Reload the page and choose the same film again"),
    "film_piece_too_large": ("a piece does not belong to this film", "Reload the page and choose the same film again"),
    "film_marks_not_read": ("the marks could not be read", "Reload the page and set them again"),
    "film_changed_meanwhile": (
        "somebody set other marks in this film meanwhile",
        "Reload the page and look at what was read with them",
    ),
    "film_all_taken_out": ("every part of the film was left out", "Keep those in which the needle is found"),
    "no_such_film": ("there is no such film; a film is deleted once its readings are accepted", "Go back to the job"),
    # what is not there
    "no_such_job": ("there is no such job", "It may have been deleted; look in the list"),
    "no_such_drive": ("there is no such drive", _BACK),
    "no_such_page": ("there is no such page", "Go back, or start at the first page"),
    "no_such_result": ("there is no such file", _BACK),
    "no_picture": ("there is no picture of this drive", "Send a track and readings that fit together"),
    "link_gone": ("this link does not work: it is mistyped, has expired or was ended", "Ask the shop for a new one"),
    "wrong_method": ("this address does not accept that", "Go back, or start at the first page"),
    "not_possible": ("this cannot be done", "Go back, or start at the first page"),
    # importing a job
    "no_zip": ("no zip was chosen", "Choose a zip that was exported from a job"),
    "zip_too_large": ("the zip is larger than {most_mb} MB", "Leave drives out"),
    "zip_file_too_large": ("a file in the zip is too large", "Leave that drive out"),
    "zip_without_one_job": (
        lambda values: f"the zip holds {values['count'] or 'no'} job.toml",
        "Pack one job folder, whole",
    ),
    "zip_unreadable": ("this is not a zip that can be read", "Export the job again"),
    "zip_too_many_files": ("the zip holds more than {most} files", "Pack one job folder"),
    "zip_unpacks_too_large": ("the zip unpacks to more than {most_mb} MB", "Leave out files the job does not use"),
    "zip_leads_out": ("a name in the zip leads out of the folder", "Export the job again"),
    "zip_lacks_file": ("the zip lacks the file {file:quoted}", "Pack the job folder whole"),
    # who may do what
    "sign_in_first": ("this needs the shop's passcode", "Sign in, then do it again"),
    "shop_passcode_needed": (
        "this takes the passcode of the shop itself",
        "Sign out, and sign in with that passcode and no name",
    ),
    "passcode_of_the_shop_first": (
        "the shop has no passcode yet, and techs come after it",
        "Set one at the machine itself with: speedcal serve --set-passcode",
    ),
    "name_missing": ("there is no name", "Write the name of the tech"),
    "too_many_passcodes": (
        "too many wrong passcodes",
        "Wait {minutes:n minute}, or have it unlocked at the machine itself with: speedcal serve --unlock",
    ),
    "forwarded_without_passcode": (
        "this came through a proxy or a tunnel, and no passcode is set",
        "Set one at the machine itself with: speedcal serve --set-passcode",
    ),
    "other_host_name": (
        "this service does not answer under that host name",
        "Whoever runs it can allow the name with --host-name",
    ),
    "other_site": ("this came from another site and was not carried out", "Open the page here and try again"),
    # too much, too slow, broken
    "uploads_busy": (
        "as many uploads are coming in as can be received at the same time",
        "Wait a moment and send it again",
    ),
    "upload_gave_way": (
        "this came in so slowly that it had to give way to others, nothing was kept",
        "Send it again, with a better connection if there is one",
    ),
    "address_busy": ("too many requests from your address are being answered right now", "Wait a moment and try again"),
    "documents_busy": ("other sheets and zips are being made right now", "Wait a moment and try again"),
    "analyses_busy": ("too many analyses are waiting already", "Wait a moment and send it again"),
    "field_too_long": ("this is longer than {most} characters", "Shorten it"),
    "body_too_large": (
        "what was sent is larger than {most_kb} kB",
        "Go back: your browser still has what you typed; leave out or shorten what is too large",
    ),
    "form_not_read": (
        "the form could not be read",
        "Go back: your browser still has what you typed; leave out or shorten what is too large",
    ),
    "too_slow": ("the upload took too long", "Try again with a better connection"),
    "disk_full": ("the disk of this service is full, nothing was kept", "Tell whoever runs it, then send it again"),
    "store_unreachable": (
        "the job store cannot be reached right now, nothing was kept",
        "Wait a moment and send it again",
    ),
    "something_broke": ("something broke in the service", "Go back and try again; nothing you sent before is lost"),
    "analysis_broke": ("the analysis broke down on this", "Tell whoever runs this service"),
    "analysis_lost": (
        "the work on this was stopped before it could answer",
        "Try again, then with a shorter drive; if that fails too, tell whoever runs this service",
    ),
    "too_much_memory": ("the files need more memory than one job may take", "Cut the drive into shorter pieces"),
    "took_too_long": (
        "this took more than {seconds} seconds and was stopped",
        "Cut the drive into shorter pieces, or check that the file is what you meant to send",
    ),
    # starting the service
    "passcode_needed": (
        "other machines could reach this address, and no passcode is set",
        "Set one with: speedcal serve --set-passcode",
    ),
    "passcode_too_short": (
        "the passcode is shorter than {shortest} characters",
        "Use three or four words that have nothing to do with each other",
    ),
    "public_url_unreadable": (
        "{found:quoted} is not the address of a whole site",
        "Write --public-url like https://drives.example or https://drives.example:8443",
    ),
    "proxy_address_unreadable": (
        "{found:quoted} is not an address or a network",
        "Write each --trusted-proxy like 192.0.2.7 or 192.0.2.0/24",
    ),
    "jobs_in_a_database": ("the jobs of this upload page are kept in a database", "Name it with --database"),
    "nothing_to_back_up": ("this is not the data folder of an upload page", "Name it with --data"),
    "backup_exists": ("this file exists already", "Name a new one"),
    "backup_not_written": ("the backup could not be written ({reason})", "Name a place with more room"),
    "no_backup": ("this is not a backup of the upload page", "Name a file that speedcal backup wrote"),
    "backup_damaged": (
        "this backup is damaged, nothing was put back",
        "Copy it again from where it was kept, or take an older one",
    ),
    "restore_not_empty": (
        "there are jobs already, and a backup is never mixed with them",
        "Name an empty folder with --data (and an empty database with --database)",
    ),
    "restore_not_written": ("the backup could not be put back ({reason})", "Name another place with --data"),
    "port_taken": (
        "port {port} is taken by another program, perhaps by this service started before",
        "End that program, or choose another port with --port",
    ),
    "port_not_allowed": ("this system does not let you listen on port {port}", "Choose one above 1023 with --port"),
    "host_not_here": (
        "{host:quoted} is not an address of this machine",
        "Name one with --host: 127.0.0.1 for this machine alone, 0.0.0.0 for the network",
    ),
    "certificate_unusable": (
        "certificate and key cannot be read, or do not belong together",
        "Check that --tls-cert and --tls-key name PEM files of one pair",
    ),
    "certificate_for_nobody": (
        "only this machine reaches the page, and it needs no certificate",
        "Name the address or the names under which others reach it, with --host and --host-name",
    ),
    "certificate_name_unusable": (
        "{found:quoted} cannot stand in a certificate",
        "Write the name of the machine with letters, digits, hyphens and dots",
    ),
    "key_file_broken": (
        "the key file does not hold 32 bytes",
        "Remove it to get a new one; links made so far then end",
    ),
    "data_folder_unusable": ("the data folder cannot be used ({reason})", "Name another with --data"),
    "store_unusable": (
        "the job store cannot be reached or written ({reason})",
        "Check that the database runs and its address is right (for SQLite, the rights of the data folder)",
    ),
    "store_too_new": (
        "the job store has schema {found}, this release knows only {known}",
        "Start the newer release of speedcal, or name another data folder",
    ),
    "database_address_unreadable": (
        "the database address cannot be read",
        "Write it like postgresql+psycopg://user@host/name, or leave it out",
    ),
    "database_unsupported": ("the database kind {found:quoted} is not supported", _ANOTHER_DATABASE),
    "sqlite_too_old": (
        "this Python was built with SQLite {found}, and the page needs 3.35",
        "Use a newer Python, or PostgreSQL with --database",
    ),
    "database_driver_missing": (
        "the PostgreSQL driver is missing",
        'Install it with: pip install "speedcal[postgres]"',
    ),
}
"""Code to what is wrong and what to do, both without full stop."""

FINDINGS: dict[str, Template] = {}
"""Code to the sentence, with its full stop."""

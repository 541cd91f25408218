"""The people of the shop: techs with a name and a passcode of their own."""

from __future__ import annotations

import time

import sqlalchemy as sa
from starlette.responses import Response

from speedcal.text.pages.page_labels import PEOPLE_TITLE
from speedcal.web.answers import RefusedError
from speedcal.web.kept import schema
from speedcal.web.kept.auth import digest_of
from speedcal.web.kept.history import entries
from speedcal.web.kept.store import Store
from speedcal.web.pages.context import Context

_LONGEST_NAME = 80
_SHOWN = 100


def names(store: Store) -> list[str]:
    """Return the names of all techs."""
    with store.reading() as connection:
        return list(connection.execute(sa.select(schema.people.c.name).order_by(schema.people.c.name)).scalars())


def people_page(context: Context) -> Response:
    """Show who works here, and what was done lately."""
    store = context.web.store
    return context.page(
        "people.html", title=PEOPLE_TITLE, role="shop", people=names(store), told=entries(store, limit=_SHOWN)
    )


def save_person(context: Context) -> Response:
    """Take a tech in, or give one a new passcode; sessions under an old one end."""
    if not context.web.auth.has_passcode:
        raise RefusedError(409, "passcode_of_the_shop_first")
    name = context.text("name", most=_LONGEST_NAME)
    if not name:
        raise RefusedError(422, "name_missing", at="name")
    passcode = digest_of(context.text("passcode"))
    people = schema.people
    known = next((one for one in names(context.web.store) if one.casefold() == name.casefold()), name)
    _forget(context.web.store, known)
    with context.web.store.writing() as connection:
        connection.execute(people.insert().values(name=known, passcode=passcode, since=time.time()))
    return context.go("/people")


def remove_person(context: Context) -> Response:
    """Let a tech go; what they did stays written down."""
    _forget(context.web.store, context.text("name", most=_LONGEST_NAME))
    return context.go("/people")


def _forget(store: Store, name: str) -> None:
    if not name:
        return
    with store.writing() as connection:
        connection.execute(schema.people.delete().where(schema.people.c.name == name))
        connection.execute(schema.sessions.delete().where(schema.sessions.c.person == name))

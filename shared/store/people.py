"""Who works with the records. Without accounts (`accounts`), a name is taken at its word."""

from __future__ import annotations

from shared.errors import BadInput
from shared.store import chain, rows, schema
from shared.store.base import MACHINE, Base

ROLES: tuple[rows.Role, ...] = ("clinician", "assistant", "auditor")
_LONGEST = 100


class People(Base):
    """The part of the store that knows people."""

    def people(self) -> list[rows.Person]:
        """Everybody, those still active first, by name."""
        found = self._rows("SELECT name, role, active FROM people ORDER BY active DESC, name")
        return [rows.Person(row["name"], row["role"], bool(row["active"])) for row in found]

    def person(self, name: str) -> rows.Person:
        """One person, in any case of letters. Raises BadInput if there is none, naming those there are."""
        found = self._rows("SELECT name, role, active FROM people WHERE name = ?", " ".join(name.split()))
        if not found:
            known = ", ".join(p.name for p in self.people() if p.active)
            raise BadInput(
                f"nobody called {name!r} is known here"
                if name.strip()
                else "it needs the name of who does it",
                where="people",
                remedy=f"Known are: {known}."
                if known
                else 'Add them first: earside people "NAME" --role clinician',
            )
        return rows.Person(found[0]["name"], found[0]["role"], bool(found[0]["active"]))

    def set_person(
        self, name: str, role: rows.Role, *, active: bool = True, by: str = MACHINE
    ) -> rows.Person:
        """Add a person, or change what they may do. Raises BadInput for an empty name or an unknown role."""
        name = " ".join(name.split())
        if not name or len(name) > _LONGEST or not name.isprintable() or name.lower() == MACHINE:
            raise BadInput(f"a person needs a name of 1 to {_LONGEST} characters", where="people")
        if role not in ROLES:
            raise BadInput(f"there is no role {role!r}", where="people", remedy=f"Roles: {', '.join(ROLES)}.")
        with self._writing():
            at = schema.now()
            self._execute(
                """INSERT INTO people (name, role, active, added) VALUES (?, ?, ?, ?)
                ON CONFLICT (name) DO UPDATE SET role = excluded.role, active = excluded.active""",
                name,
                role,
                int(active),
                at,
            )
            what = f"{name} is here as {role}" if active else f"{name} does not work here any more"
            content = {"what": what, "person": name, "role": role, "active": active}
            chain.append(self._db, visit=None, kind="person", who=by, at=at, content=content)
            return self.person(name)

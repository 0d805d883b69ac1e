"""Who asks, what they may do, and what they may see (definitions R11)."""

from dataclasses import dataclass
from typing import Literal

from service.errors import NotPermitted

Right = Literal["look", "measure", "manage"]
Role = Literal["manager", "crew", "key"]

RIGHTS: dict[Role, frozenset[Right]] = {
    "manager": frozenset({"look", "measure", "manage"}),
    "crew": frozenset({"measure"}),
    "key": frozenset({"look"}),
}


@dataclass(frozen=True)
class Actor:
    """The one who asks: a role and a handle, never the name of a child or volunteer."""

    role: Role
    handle: str

    def require(self, right: Right) -> None:
        """Check that this actor has a right.

        Raises
        ------
        NotPermitted
            If not.
        """
        if right not in RIGHTS[self.role]:
            raise NotPermitted(right)


LOCAL_MANAGER = Actor("manager", "local manager")


def visible(site_slug: str, actor: Actor) -> str:
    """Return the audience that an actor belongs to on a site; it is part of cache keys and ETags.

    Every read of trees goes through here.

    Raises
    ------
    NotPermitted
        If the actor may see nothing of the site.
    """
    actor.require("look")
    return "manager"

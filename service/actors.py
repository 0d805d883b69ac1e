"""Who asks, what they may do, and what they may see (definitions R11)."""

from dataclasses import dataclass
from typing import Literal

from service.errors import NotPermitted

Right = Literal["enter", "look", "measure", "manage"]
Role = Literal["manager", "crew", "key", "visitor"]

RIGHTS: dict[Role, frozenset[Right]] = {
    "manager": frozenset({"look", "measure", "manage"}),
    "crew": frozenset({"measure"}),
    "key": frozenset({"look"}),
    "visitor": frozenset({"enter"}),  # may open the page for phones and say a word
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
VISITOR = Actor("visitor", "somebody")


def crew_actor(crew_id: str) -> Actor:
    """Return a crew as the one who asks."""
    return Actor("crew", f"crew:{crew_id}")


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

"""A layer in a sentence, for formats that have a place for it; the caution goes along."""

from service.layer_parts import LayerFacts


def described(facts: LayerFacts) -> str:
    """Return what a layer is, of which day, with the caution where it holds flags."""
    said = [f"{facts.layer} of {facts.site} as of {facts.as_of}, known at {facts.known_at}."]
    return " ".join(said if facts.caution is None else [*said, facts.caution])

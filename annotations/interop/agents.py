"""People, organizations and programs that made an annotation (Data Model section 3.3.2)."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from annotations.interop.document_parts import unknown_keys

__all__ = ["AGENT_KINDS", "Agent", "agent_from_document", "agent_to_document"]

AGENT_KINDS = ("Person", "Organization", "Software")


@dataclass(frozen=True)
class Agent:
    """Somebody or something that writes annotations.

    Parameters
    ----------
    name : str
    kind : str
        One of ``AGENT_KINDS``.
    iri : str, optional
        For people the ORCID address when they have one.
    homepage : str, optional
    extra : mapping
        Keys that are not understood here, kept as they came.
    """

    name: str
    kind: str = "Person"
    iri: str | None = None
    homepage: str | None = None
    extra: Mapping[str, Any] = field(default_factory=dict)


def agent_to_document(agent: Agent) -> dict[str, Any]:
    """Return an agent as JSON-LD.

    Examples
    --------
    >>> agent_to_document(Agent("Jun Teasdale", iri="https://orcid.org/0000-0002-1825-0097"))
    {'id': 'https://orcid.org/0000-0002-1825-0097', 'type': 'Person', 'name': 'Jun Teasdale'}
    """
    document: dict[str, Any] = {"id": agent.iri} if agent.iri else {}
    document |= {"type": agent.kind, "name": agent.name}
    if agent.homepage:
        document["homepage"] = agent.homepage
    return {**document, **agent.extra}


def agent_from_document(document: Any) -> Agent | None:
    """Return the agent of a document, or None when it has a form that is only kept, not understood.

    Examples
    --------
    >>> agent_from_document({"type": "Software", "name": "Code v2.1"}).kind
    'Software'
    >>> agent_from_document("https://example.org/people/1") is None
    True
    """
    if not isinstance(document, dict) or document.get("type") not in AGENT_KINDS:
        return None
    texts = [document.get(key) for key in ("name", "id", "homepage")]
    if not isinstance(texts[0], str) or any(not isinstance(text, str | None) for text in texts):
        return None
    extra = unknown_keys(document, {"id", "type", "name", "homepage"})
    return Agent(texts[0], document["type"], document.get("id"), document.get("homepage"), extra)

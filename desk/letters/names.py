"""What papers there are. Apart, so that a page can list them without loading what makes them."""

from __future__ import annotations

PAPERS = {
    "record": "Visit record (PDF)",
    "words": "Visit record with its words (PDF)",
    "letter-gp-docx": "Letter to the GP (DOCX)",
    "letter-gp-pdf": "Letter to the GP (PDF)",
    "letter-ent-docx": "Letter to ENT (DOCX)",
    "letter-ent-pdf": "Letter to ENT (PDF)",
    "advice": "Advice for the patient (PDF)",
}
"""Every paper by itself, with what it is called."""

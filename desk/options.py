"""Arguments and options that several commands share."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import click

FOLDER = click.Path(path_type=Path)

sources = click.argument("sources", metavar="PATH...", nargs=-1, required=True, type=click.Path())
model = click.option(
    "--model",
    default="base",
    show_default=True,
    help="The recogniser: base, tiny.en (quicker, less sure), or the folder of a larger one you have.",
)
data = click.option(
    "--data",
    type=FOLDER,
    metavar="DIR",
    help="Keep visits in this folder instead of your own data folder. EARSIDE_DATA does the same.",
)
vocabulary = click.option(
    "--vocabulary",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Your clinic's own words; vocabulary.yaml in the data folder if not given.",
)
as_json = click.option("--json", "as_json", is_flag=True, help="Print JSON, one object a line.")


def form(command: Callable[..., Any]) -> Callable[..., Any]:
    """The two ways of printing records for programs."""
    full = click.option(
        "--full",
        "form",
        flag_value="full",
        help="Print one line of JSON for each, with the words and times behind every value.",
    )
    plain = click.option(
        "--plain", "form", flag_value="plain", help="Print one line of JSON for each, the values alone."
    )
    return plain(full(command))

"""Commands that ask the catalogue for frames."""

from __future__ import annotations

from typing import Annotated

import typer

from archive.errors import UsageError
from archive.views.cli.options import ArchiveOption, JsonOption, PersonOption, opened
from archive.views.nightreport import tell_found, tell_queries
from archive.views.plain import print_json
from archive.views.report import Report


def find(
    query: Annotated[str, typer.Argument(metavar="QUERY", help="What the frames must be like.")] = "",
    limit: Annotated[
        int,
        typer.Option("--limit", "-n", metavar="N", min=1, max=1_000_000, help="List so many at most."),
    ] = 50,
    named: Annotated[
        str | None, typer.Option("--named", metavar="NAME", help="Ask the query that is kept as NAME.")
    ] = None,
    keep: Annotated[
        str | None,
        typer.Option("--keep", metavar="NAME", help="Keep the query as NAME; an empty one gives NAME up."),
    ] = None,
    archive: ArchiveOption = None,
    person: PersonOption = None,
    as_json: JsonOption = False,
) -> None:
    """List the frames that a query asks for, in the order they were taken.

    \b
    Fields: night camera site name sequence rating keyword exposure iso aperture
    focal sun moon developed exported

    \b
    Conditions side by side must all hold; or, not and ( ) as in speech.
      field:value    is; night:2026-03 and name:NOCT04* mean all that begin so
      field>=10      also > < <= = !=, where there is an order
      field:10..20   from ... up to and including ...
      "quoted"       a value with blanks; \\" and \\\\ inside it
    Exposures may say 1/60, 200ms or 2min; sun and moon are altitudes in degrees;
    developed and exported are yes or no.

    Example: noctuary find 'rating>=4 exposure>=10s moon<0 keyword:"river ice"'
    """
    with opened(archive, person=person) as workspace:
        if named is not None:
            if query:
                raise UsageError(
                    "Two queries were given.", hint="Nothing was changed. Give QUERY, or --named NAME."
                )
            query = workspace.queries.named(named)
        if keep is not None:
            workspace.queries.keep(keep, query)
        found = workspace.find(query, limit)
    if as_json:
        print_json(found)
    else:
        tell_found(Report(), found)


def queries(archive: ArchiveOption = None, as_json: JsonOption = False) -> None:
    """List the queries that are kept under a name.

    Example: noctuary queries
    """
    with opened(archive) as workspace:
        kept = workspace.queries.kept()
    print_json(kept) if as_json else tell_queries(Report(), kept)


def add_to(app: typer.Typer) -> None:
    for command in (find, queries):
        app.command()(command)

"""`pva schema`: what an editor must know to help with scenario and study files."""

from __future__ import annotations

import click

from pva.cli.terminal import Terminal, shared_options


@click.command()
@click.argument("kind", type=click.Choice(["scenario", "study"]))
@shared_options
def schema(terminal: Terminal, kind: str) -> None:
    """Print the schema by which an editor completes and checks scenario and study files.

    A scenario or study begins with `# yaml-language-server: $schema=FILE` to name it. With --out,
    writes scenario.schema.json or study.schema.json there.
    """
    from pva.files.json_schema import schema_text

    name, document = schema_of(kind)
    if terminal.out is None:
        terminal.json = True
        terminal.finish(document)
        return
    from pva.files import write_text_atomic

    path = write_text_atomic(terminal.out / name, schema_text(document))
    terminal.wrote(path)
    terminal.answer(f"Name it in the first line of a {kind}: "
                    f"# yaml-language-server: $schema={name}")
    terminal.finish({"schema": str(path)})


def schema_of(kind: str) -> tuple[str, dict]:
    """File name and content of a schema."""
    if kind == "study":
        from pva.field.schema import STUDY_SCHEMA, study_schema

        return STUDY_SCHEMA, study_schema()
    from pva.scenario.schema import SCENARIO_SCHEMA, scenario_schema

    return SCENARIO_SCHEMA, scenario_schema()

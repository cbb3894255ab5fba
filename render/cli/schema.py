"""`dropkiln schema`: the recipe's format for editors."""

import json

import typer


def schema() -> None:
    """Print the recipe's format as JSON Schema.

    Editors that know JSON Schema 2020-12 then check and complete while typing.

    Example: dropkiln schema > recipe.schema.json
    """
    from render.recipe.schema import json_schema

    typer.echo(json.dumps(json_schema(), indent=2))

import click


@click.command()
def card() -> int:
    return 0

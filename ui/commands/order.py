import click


@click.command()
def order() -> int:
    return 0

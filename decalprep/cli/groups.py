"""Groups of commands: a full line of help for each, the nearest name for a misspelt one."""

import difflib

import click


class NearGroup(click.Group):
    """A group that tells the nearest of its commands where a word is none of them."""

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        names = self.list_commands(ctx)
        if args and args[0] not in names and not args[0].startswith("-"):
            near = difflib.get_close_matches(args[0], names, n=1)
            hint = f"did you mean '{near[0]}'?" if near else f"see '{ctx.command_path} --help'"
            raise click.UsageError(f"there is no command '{args[0]}'; {hint}", ctx)
        return super().resolve_command(ctx, args)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Commands"):
            formatter.write_dl(
                [(name, self.line_of(ctx, name)) for name in self.list_commands(ctx)]
            )

    def line_of(self, ctx: click.Context, name: str) -> str:
        """The first sentence of a command's help, never cut short."""
        command = self.get_command(ctx, name)
        return command.get_short_help_str(limit=300) if command else ""

"""The command `toolbench`: its commands by name, each loaded when it is called."""

from __future__ import annotations

from importlib import import_module

import click

from toolbench import __version__

COMMANDS = {
    "compare": ("toolbench.cli.rendering", "Folders of recordings to a page and a season, in one step."),
    "new": ("toolbench.cli.starting", "A commented starter season, filled in from recordings."),
    "demo": ("toolbench.cli.starting", "The demo season, as a folder of your own."),
    "inspect": ("toolbench.cli.looking", "What a logger file holds, and the [loggers] table to paste."),
    "check": ("toolbench.cli.looking", "Everything that is wrong or doubtful, and the mend."),
    "watch": ("toolbench.cli.watching", "At the bench: each new recording judged, keep or repeat now."),
    "plan": ("toolbench.cli.planning", "How many repeats a difference needs, and a randomised, blocked run sheet."),
    "line": ("toolbench.cli.lining", "What an air line loses where, and what another line would give."),
    "report": ("toolbench.cli.rendering", "The reports of one episode that match."),
    "season": ("toolbench.cli.rendering", "Every report, the episode pages and the index; renders only what changed."),
    "standings": ("toolbench.cli.ranking", "The scorecard alone: scores, ranks, claims, and what would be if ..."),
    "cache": ("toolbench.cli.caching", "Where reduced recordings are kept, how much, and away with them."),
}


class LazyGroup(click.Group):
    """A group whose help needs none of its commands' modules."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in COMMANDS:
            return None
        command = getattr(import_module(COMMANDS[cmd_name][0]), cmd_name)
        assert isinstance(command, click.Command)
        return command

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        if args and args[0] not in COMMANDS and not args[0].startswith("-"):
            from difflib import get_close_matches

            near = get_close_matches(args[0], COMMANDS, n=1)
            hint = f"did you mean {near[0]!r}?" if near else f"there are: {', '.join(COMMANDS)}"
            ctx.fail(f"there is no command {args[0]!r}; {hint}")
        return super().resolve_command(ctx, args)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Commands"):
            formatter.write_dl([(name, text) for name, (_, text) in COMMANDS.items()])


@click.command(cls=LazyGroup, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(__version__, prog_name="toolbench")
def toolbench() -> None:
    """Test reports for bench-tested power tools, from raw logger files: every percentage with its uncertainty."""

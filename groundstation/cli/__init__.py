"""The command line: one module a subcommand, and the only place where parts are joined."""

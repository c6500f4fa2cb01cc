"""The command line: one short function per command, loaded on demand.

- options: options that several commands share, so that a word means one thing everywhere
- rim: where faults become messages and exit codes
- project: demo, new, check, run
- stages: the stages one by one
- ask: audit
- explore: the page on which planners try weights
- scout: the command that sends people to look
- fieldwork: the queue of days for the dive leader
- record: what happened on the reef
- survey: the command for those who come back
- entry: the list of commands
"""

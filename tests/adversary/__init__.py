"""An adversary outside: it drives the commands as people do, and knows nothing of what is inside.

In reading order: `terms` what the dialogs say and what people say, read at run time; `commands`
how a command is run, and what no output may hold; `talk` one long chat, line by line; `oracle`
its own model of pedal, hands and stops, from printed lines and typed words alone; then one attack
a module: `turns`, `kills`, `damage`, `cards`, `lines` (hostile ones) and `options` of commands.

    python -m tests.adversary [--long] [--seed N] [--only PART]
"""

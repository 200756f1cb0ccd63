#!/usr/bin/env python3
"""The one entry of Mahlstick: `python3 manage.py COMMAND`.

Any Python can read this file. It finds a fitting Python, makes .venv with the locked packages
when they are not there yet, and runs the command inside. The imports are in this order because
each needs what the step before it made sure of.
"""

import sys


def main():
    """Run one command; the exit code is the command's own."""
    if sys.version_info < (3, 8):
        sys.stderr.write(
            "Python 3.11 or newer is needed, this one is %d.%d: run this command with a newer "
            "one, for example python3.11 manage.py demo.\n" % sys.version_info[:2]
        )
        return 1
    from frontend.installation.interpreter import use_fitting_interpreter
    from frontend.installation.refusal import EXIT_FAILED, EXIT_INTERRUPTED, InstallationError

    try:
        use_fitting_interpreter(__file__, sys.argv[1:])
        from frontend.installation.environment import enter_environment

        enter_environment(__file__, sys.argv[1:])
        from frontend.processes.command_line import run_command

        return run_command(sys.argv)
    except InstallationError as refusal:
        sys.stderr.write("%s\n" % refusal)
        return EXIT_FAILED
    except KeyboardInterrupt:
        sys.stderr.write("Stopped.\n")
        return EXIT_INTERRUPTED


if __name__ == "__main__":
    sys.exit(main())

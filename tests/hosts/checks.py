"""The checks of a host's driver, one after the other; what fails does not keep the others from running."""

import sys
import traceback

CHECKS = []


def check(function):
    """Adds a check. Each makes the plugins that it needs for itself."""
    CHECKS.append(function)
    return function


def run_all(what):
    """Runs them. Ends with 'ok', or by leaving the program with 1."""
    failed = 0
    for function in CHECKS:
        name = function.__name__.replace("_", " ")
        try:
            function()
            print(f"  ok      {name}", flush=True)
        except Exception:
            failed += 1
            print(f"  FAILED  {name}", flush=True)
            traceback.print_exc()
    print(f"{what}: {len(CHECKS) - failed} passed, {failed} failed")
    if failed:
        sys.exit(1)
    print("ok")

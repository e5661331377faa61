"""A lab that another process of this user has up: look into it, and end it."""

import os
import signal
import time

from qualify.errors import LabError
from qualify.lab.enclosure import enter_command, send_signal
from qualify.lab.lock import RunningLab, running_labs
from qualify.lab.programs import Programs

END_WITHIN_S = 15
POLL_S = 0.05

# Inside, the files of a device's routing software and of a peer stand where the programs that
# ask them look by themselves, so that vtysh and birdc need no options.
_VIEW = """
for pair in /run/duts/{name}/frr:/run/frr /run/peers/{name}:/run/bird; do
  if test -d "${{pair%%:*}}"; then
    mkdir -p "${{pair#*:}}" && mount --bind "${{pair%%:*}}" "${{pair#*:}}"
  fi
done
if test "$1" = vtysh; then
  shift
  set -- vtysh --config_dir /run/frr "$@"
fi
exec "$@"
"""


def lab_of(testbed: str | None) -> RunningLab:
    """Return the running lab of a testbed; of the only one when none is named.

    Raises:
        LabError: there is none, or more than one to choose from.
    """
    labs = running_labs()
    chosen = [lab for lab in labs if testbed in (None, lab.testbed)]
    if len(chosen) == 1:
        return chosen[0]
    if not chosen:
        raise LabError(
            f"no lab of testbed {testbed} is up" if testbed else "no lab is up",
            fix="start one: qualify lab up TESTBED",
        )
    raise LabError(
        f"{len(chosen)} labs are up: {', '.join(lab.testbed for lab in chosen)}",
        fix="say which one: --testbed NAME",
    )


def look_inside(lab: RunningLab, programs: Programs, name: str, command: list[str]) -> list[str]:
    """Return the command that runs another one in a namespace of a running lab.

    Raises:
        LabError: the lab has no such namespace, or is not built yet.
    """
    if lab.first_process is None:
        raise LabError(
            f"the lab of testbed {lab.testbed} is being built", fix="wait a second and try again"
        )
    if name not in lab.namespaces:
        raise LabError(
            f"the lab of testbed {lab.testbed} has no namespace {name!r}",
            fix=f"choose one of {', '.join(lab.namespaces)}",
        )
    path = ":".join([*map(str, programs.search_folders()), os.environ.get("PATH", "")])
    inside = [programs.path("ip"), "netns", "exec", name, "env", f"PATH={path}"]
    view = ["sh", "-c", _VIEW.format(name=name), "sh"]
    return enter_command(lab.first_process, *inside, *view, *command)


def end_lab(lab: RunningLab) -> None:
    """Ask the owner of a lab to end, as Ctrl-C would, and wait until the lab is gone.

    Raises:
        LabError: the owner goes on.
    """
    for number in (signal.SIGINT, signal.SIGTERM):
        send_signal(lab.owner, number)
        deadline = time.monotonic() + END_WITHIN_S
        while time.monotonic() < deadline:
            if all(each.owner != lab.owner for each in running_labs()):
                return
            time.sleep(POLL_S)
    raise LabError(
        f"process {lab.owner}, which has the lab of testbed {lab.testbed}, does not end",
        fix=f"end it yourself; the lab ends with it: kill -KILL {lab.owner}",
    )

#!/bin/bash
# Years of winds on a real Slurm with two pretended nodes on this machine: the sample as an array of twelve
# parts, of which one program, one batch script and one node daemon are killed in the middle. What is gathered
# has the bytes of one process.
#   years.sh WINDFALL
# Where Slurm is missing it says "skipped"; where CI is set that is a failure.
set -euo pipefail
windfall=$(realpath "${1:?the program}")
cd "$(dirname "$0")/../.."
if ! command -v sbatch >/dev/null || [ ! -x /usr/sbin/slurmctld ] || [ ! -x /usr/sbin/munged ] || [ "$(id -u)" != 0 ]; then
    echo "skipped: Slurm (slurm-wlm, munge) is not installed, or this is not root"
    [ -z "${CI:-}" ]
    exit
fi
work=$(mktemp -d)
cleanup() {
    sh "$work/slurm/down.sh" 2>/dev/null || true
    # Daemons write their state while they end.
    for _ in 1 2 3 4 5 6 7 8 9 10; do
        rm -rf "$work" 2>/dev/null && break
        sleep 1
    done
    true
}
trap cleanup EXIT
sh tests/cluster/slurm-up.sh "$work/slurm" 2
. "$work/slurm/env.sh"

words=(years samples/ribatejo/plan.toml --candidates samples/ribatejo/meadows.geojson --spacing "12 km"
    --hours 09:00-15:00 --every 3h --draws 40)
echo "== in one process"
"$windfall" "${words[@]}" --json >"$work/alone.json"

# A part is held back until the test has killed what it wants to: the real program runs after that.
mkdir "$work/gate"
cat >"$work/windfall" <<GATE
#!/bin/bash
task=\${SLURM_ARRAY_TASK_ID:-0}
touch "$work/gate/started-\$task-\${SLURM_RESTART_COUNT:-0}"
echo \$\$ >"$work/gate/pid-\$task"
while [ ! -e "$work/gate/open" ] && [ "\${SLURM_RESTART_COUNT:-0}" = 0 ] && [[ \$task = [1-3] ]]; do sleep 0.2; done
exec "$windfall" "\$@"
GATE
chmod +x "$work/windfall"

echo "== the script that the program prints"
"$windfall" "${words[@]}" --out "$work/record" --shards 12 --script slurm >"$work/years.sh"
# Less memory than two tasks on a pretended node have; and the gate in place of the program.
sed -i "s#$windfall years#$work/windfall years#; s/^#SBATCH --mem=.*/#SBATCH --output=$(printf %s "$work" | sed 's/[\/&]/\\&/g')\/log-%A_%a.txt/" "$work/years.sh"
job=$(sh "$work/years.sh" | tail -n 1)
echo "array $job"

wait_for() { # seconds, what, command...
    local left=$1 what=$2
    shift 2
    until "$@"; do
        left=$((left - 1))
        [ "$left" -gt 0 ] || { echo "gave up waiting for: $what"; squeue; tail -n 5 "$work"/log-*; exit 1; }
        sleep 1
    done
}
# A requeued task waits two minutes unless it is told not to.
hurry() { scontrol update "jobid=$1" StartTime=now 2>/dev/null || true; }

echo "== kill the program of part 1"
wait_for 60 "part 1" test -e "$work/gate/started-1-0"
kill -9 "$(cat "$work/gate/pid-1")"

echo "== kill the batch script of part 2"
wait_for 60 "part 2" test -e "$work/gate/started-2-0"
pid=$(cat "$work/gate/pid-2")
kill -9 "$(ps -o ppid= -p "$pid" | tr -d ' ')"
kill -9 "$pid" 2>/dev/null || true

echo "== kill the node of part 3"
wait_for 120 "part 3" test -e "$work/gate/started-3-0"
node=$(squeue -h -j "${job}_3" -o %N)
kill -9 "$(cat "$work/slurm/slurmd-$node.pid")"
pid=$(cat "$work/gate/pid-3")
script=$(ps -o ppid= -p "$pid" | tr -d ' ')
step=$(ps -o ppid= -p "$script" | tr -d ' ')
kill -9 "$pid" "$script" "$step" 2>/dev/null || true
touch "$work/gate/open"
again() { hurry "${job}_1"; hurry "${job}_3"; test -e "$work/gate/started-1-1" && test -e "$work/gate/started-3-1"; }
wait_for 300 "parts 1 and 3 to run again, on the other node" again
/usr/sbin/slurmd -f "$SLURM_CONF" -N "$node"

all_ended() { [ -z "$(squeue -h -j "$job" 2>/dev/null)" ]; }
wait_for 300 "all parts to end" all_ended
ls "$work/record"
echo "== part 2, whose batch script was killed, is not requeued by Slurm: submitted again, only it is done"
scancel -u root 2>/dev/null || true
before=$(stat -c %Y "$work/record/part-1-of-12")
job=$(sh "$work/years.sh" | tail -n 1)
wait_for 300 "the gathered answer" test -e "$work/record/years.json"
test "$(stat -c %Y "$work/record/part-1-of-12")" = "$before"
cmp "$work/alone.json" "$work/record/years.json"
echo "== twelve parts with three kills, gathered by Slurm: the bytes of one process"

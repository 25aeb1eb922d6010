#!/bin/sh
# Slurm on this machine alone, as root, without systemd: for tests.
#   slurm-up.sh DIR [NODES]
# Everything lies in DIR and listens on loopback. DIR/env.sh is to be sourced, DIR/down.sh stops what this
# started. It installs nothing: slurm-wlm and munge have to be there.
set -eu
dir=$(realpath -m "${1:?a folder}")
nodes=${2:-2}
host=$(hostname -s)
mkdir -p "$dir/state" "$dir/log" /run/munge
chown munge:munge /run/munge
if [ ! -s /etc/munge/munge.key ]; then
    (umask 077 && dd if=/dev/urandom of=/etc/munge/munge.key bs=1 count=1024 status=none)
    chown munge:munge /etc/munge/munge.key
fi
munge -n </dev/null >/dev/null 2>&1 || runuser -u munge -- /usr/sbin/munged
# Other clusters of the same kind may be here.
base=$((20000 + ($$ % 4000) * 10))
lines=
for n in $(seq "$nodes"); do
    mkdir -p "$dir/spool/n$n"
    lines="$lines
NodeName=n$n NodeHostname=$host NodeAddr=127.0.0.1 Port=$((base + n)) CPUs=1 RealMemory=2000 State=UNKNOWN"
done
cat >"$dir/slurm.conf" <<CONF
ClusterName=loopback
SlurmctldHost=$host(127.0.0.1)
SlurmctldPort=$base
CommunicationParameters=NoCtldInAddrAny,NoInAddrAny
AuthType=auth/munge
SlurmUser=root
SlurmdUser=root
StateSaveLocation=$dir/state
SlurmdSpoolDir=$dir/spool/%n
SlurmctldPidFile=$dir/slurmctld.pid
SlurmdPidFile=$dir/slurmd-%n.pid
SlurmctldLogFile=$dir/log/slurmctld.log
SlurmdLogFile=$dir/log/slurmd-%n.log
ProctrackType=proctrack/linuxproc
TaskPlugin=task/none
JobAcctGatherType=jobacct_gather/none
AccountingStorageType=accounting_storage/none
JobCompType=jobcomp/none
MpiDefault=none
SwitchType=switch/none
SelectType=select/cons_tres
SelectTypeParameters=CR_CPU
SchedulerType=sched/backfill
SchedulerParameters=sched_interval=2,bf_interval=2
ReturnToService=2
JobRequeue=1
RequeueExit=75,137
KillWait=5
MinJobAge=600
SlurmdTimeout=10
$lines
PartitionName=all Nodes=ALL Default=YES MaxTime=INFINITE State=UP
CONF
export SLURM_CONF="$dir/slurm.conf"
/usr/sbin/slurmctld -f "$SLURM_CONF" -c
for n in $(seq "$nodes"); do
    /usr/sbin/slurmd -f "$SLURM_CONF" -N "n$n"
done
echo "export SLURM_CONF=$dir/slurm.conf" >"$dir/env.sh"
cat >"$dir/down.sh" <<DOWN
#!/bin/sh
export SLURM_CONF=$dir/slurm.conf
scancel --hurry -u root 2>/dev/null
for file in $dir/slurmd-n*.pid $dir/slurmctld.pid; do
    [ -s "\$file" ] && kill "\$(cat "\$file")" 2>/dev/null
done
exit 0
DOWN
for second in $(seq 60); do
    [ "$(sinfo -h -o %t 2>/dev/null)" = idle ] && break
    sleep 1
done
sinfo
[ "$(sinfo -h -o %t)" = idle ]

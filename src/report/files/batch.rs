//! Batch files for the schedulers of clusters.

use std::fmt::Write as _;

/// What is to be run.
#[derive(Debug, Clone, PartialEq)]
pub struct Batch {
    /// The words after the program's name that all parts share.
    pub command: Vec<String>,
    /// The program.
    pub program: String,
    /// Where parts are written.
    pub folder: String,
    /// How many parts.
    pub shards: usize,
    /// Threads of each.
    pub threads: usize,
    /// Time to ask for, s.
    pub seconds: f64,
    /// Memory to ask for, bytes.
    pub bytes: f64,
}

impl Batch {
    /// The command in a shell, with more words.
    fn shell(&self, more: &[&str]) -> String {
        let words = std::iter::once(&self.program).chain(&self.command);
        let words = words.map(String::as_str).chain(more.iter().copied());
        words.map(quoted).collect::<Vec<_>>().join(" ")
    }

    /// The command of one part.
    fn part(&self, shard: &str) -> String {
        let threads = self.threads.to_string();
        self.shell(&[
            "--shard",
            shard,
            "--threads",
            &threads,
            "--out",
            &self.folder,
        ])
    }

    /// The command that joins them.
    fn gather(&self) -> String {
        self.shell(&["--gather", &self.folder, "--out", &self.folder])
    }

    fn megabytes(&self) -> u64 {
        (self.bytes / 1e6).ceil() as u64
    }

    /// Hours, minutes and seconds.
    fn time(&self) -> String {
        // Upwards: what is not done in time is killed.
        let minutes = (self.seconds / 60.0).ceil() as u64;
        format!("{:02}:{:02}:00", minutes / 60, minutes % 60)
    }
}

/// A word as a shell takes it for one.
fn quoted(word: &str) -> String {
    // Whatever else there is may mean something to a shell, so it is quoted unjudged.
    let plain = |c: char| c.is_ascii_alphanumeric() || "_-./=:,+@%".contains(c);
    match !word.is_empty() && word.chars().all(plain) {
        true => word.to_owned(),
        false => format!("'{}'", word.replace('\'', "'\\''")),
    }
}

/// A shell script that submits an array to Slurm, and a job that joins its parts.
pub fn slurm(batch: &Batch) -> String {
    let Batch {
        shards, threads, ..
    } = batch;
    let (time, memory) = (batch.time(), batch.megabytes());
    // Slurm tells each task how many there are, but where some are submitted again that is not how many parts.
    let (part, gather) = (batch.part(&format!("array/{shards}")), batch.gather());
    format!(
        // The here-documents are quoted: their variables are those of the task, not of this script.
        // A task has no `set -e`, as it looks at how its part ended.
        "#!/bin/sh
# Submits the parts and what joins them: sh THIS_FILE
# A part that is there is not done again, so this may be submitted again at any time.
# A task that ends with 75 (trouble with a file) or 137 (killed) is to run again: slurm.conf does that with
# RequeueExit=75,137; where it does not, the task asks for it itself, five times at most. A batch script
# that is killed with signal 9 is not requeued by Slurm: submit again.
set -eu
parts=$(sbatch --parsable <<'TASK'
#!/bin/sh
#SBATCH --job-name=windfall-years
#SBATCH --array=1-{shards}
#SBATCH --cpus-per-task={threads}
#SBATCH --time={time}
#SBATCH --mem={memory}M
#SBATCH --requeue
#SBATCH --open-mode=append
{part}
code=$?
case $code in
75 | 137)
    if ! scontrol show config | grep -q '^RequeueExit .*75' && [ \"${{SLURM_RESTART_COUNT:-0}}\" -lt 5 ]; then
        scontrol requeue \"${{SLURM_ARRAY_JOB_ID}}_${{SLURM_ARRAY_TASK_ID}}\"
    fi
    ;;
esac
exit $code
TASK
)
sbatch --parsable --dependency=\"afterok:$parts\" <<'GATHER'
#!/bin/sh
#SBATCH --job-name=windfall-gather
#SBATCH --cpus-per-task={threads}
#SBATCH --time={time}
#SBATCH --mem={memory}M
#SBATCH --requeue
{gather}
GATHER
echo \"$parts\"
"
    )
}

/// The same for PBS.
pub fn pbs(batch: &Batch) -> String {
    let Batch {
        shards, threads, ..
    } = batch;
    let (time, memory) = (batch.time(), batch.megabytes());
    let (part, gather) = (batch.part(&format!("array/{shards}")), batch.gather());
    // An array of one task is none for PBS.
    let array = match shards {
        1 => String::new(),
        _ => format!("#PBS -J 1-{shards}\n"),
    };
    // Without an array there is no index for the program to look up.
    let part = match shards {
        1 => batch.part("1/1"),
        _ => part,
    };
    format!(
        // PBS begins a job in the home folder, and not where it was submitted.
        "#!/bin/sh
# Submits the parts and what joins them: sh THIS_FILE
# A part that is there is not done again: submit again whatever ended with 75 (trouble with a file) or 137
# (killed). Not tried on a real PBS.
set -eu
parts=$(qsub <<'TASK'
#!/bin/sh
#PBS -N windfall-years
{array}#PBS -l select=1:ncpus={threads}:mem={memory}mb
#PBS -l walltime={time}
#PBS -r y
cd \"$PBS_O_WORKDIR\"
{part}
TASK
)
qsub -W \"depend=afterok:$parts\" <<'GATHER'
#!/bin/sh
#PBS -N windfall-gather
#PBS -l select=1:ncpus={threads}:mem={memory}mb
#PBS -l walltime={time}
#PBS -r y
cd \"$PBS_O_WORKDIR\"
{gather}
GATHER
echo \"$parts\"
"
    )
}

/// An indexed Job for Kubernetes, and one that is tried until all parts are there.
pub fn kubernetes(batch: &Batch) -> String {
    let Batch {
        shards, threads, ..
    } = batch;
    let memory = batch.megabytes();
    let job = |name: &str, about: &str, command: &str| {
        let mut text = format!(
            "apiVersion: batch/v1
kind: Job
metadata:
  name: {name}
spec:
{about}  template:
    spec:
      restartPolicy: OnFailure
      containers:
        - name: windfall
          image: windfall:{} # yours
          workingDir: /work
          command: [\"/bin/sh\", \"-c\"]
          args:
            - |
",
            env!("CARGO_PKG_VERSION")
        );
        // In place of the shell, so that signals to the pod reach the program.
        let _ = writeln!(text, "              exec {command}");
        let _ = write!(
            text,
            "          resources:
            requests: {{cpu: \"{threads}\", memory: {memory}M}}
            limits: {{memory: {memory}M}}
          volumeMounts:
            - {{name: work, mountPath: /work}}
      volumes:
        - name: work
          persistentVolumeClaim: {{claimName: work}} # yours: plan, winds and parts, for all nodes to write
"
        );
        text
    };
    let indexed = format!(
        "  completionMode: Indexed\n  completions: {shards}\n  parallelism: {shards}\n  backoffLimit: {}\n",
        // Failures of all parts count together, and six are what a Job has by itself.
        6 * shards
    );
    let parts = job(
        "windfall-years",
        &indexed,
        &batch.part(&format!("array/{shards}")),
    );
    // Gathering fails while parts are missing: trying again is how it waits for them.
    let until = "  backoffLimit: 1000 # tried again until all parts are there\n";
    let gather = job("windfall-gather", until, &batch.gather());
    format!(
        "# kubectl apply -f THIS_FILE. A pod that fails is started again; a part that is there is not done
# again. Not tried on a real cluster.
{parts}---
{gather}"
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    fn batch() -> Batch {
        Batch {
            command: vec![
                "years".into(),
                "my plan.toml".into(),
                "--wind".into(),
                "it's".into(),
            ],
            program: "windfall".into(),
            folder: "record".into(),
            shards: 12,
            threads: 1,
            seconds: 5_430.0,
            bytes: 512.2e6,
        }
    }

    #[test]
    fn words_stay_words_in_a_shell() {
        let text = slurm(&batch());
        assert!(text.contains(
            "windfall years 'my plan.toml' --wind 'it'\\''s' --shard array/12 --threads 1 --out record\n"
        ));
        assert!(text.contains("--array=1-12\n") && text.contains("--time=01:31:00\n"));
        assert!(text.contains("--mem=513M\n"));
        assert!(text.contains("--gather record --out record\n"));
    }

    #[test]
    fn others_say_how_many_parts_there_are() {
        assert!(pbs(&batch()).contains("#PBS -J 1-12\n"));
        assert!(pbs(&batch()).contains("--shard array/12"));
        assert!(kubernetes(&batch()).contains("completions: 12\n"));
    }
}

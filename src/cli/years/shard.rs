//! Which part of the work: as given, or as the scheduler of a cluster says.

use std::str::FromStr;

use windfall::error::{Error, Result};

/// A part, counted from 1.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Shard {
    /// K of N.
    Given(usize, usize),
    /// What a scheduler says, of so many if it does not say that.
    Array(Option<usize>),
}

impl FromStr for Shard {
    type Err = String;

    fn from_str(text: &str) -> std::result::Result<Shard, String> {
        let wrong =
            || "expected K/N with K from 1 to N, as in 3/12, or array, or array/N".to_owned();
        let count = |n: &str| {
            n.parse::<usize>()
                .ok()
                .filter(|n| (1..=100_000).contains(n))
        };
        match text.split_once('/') {
            None if text == "array" => Ok(Shard::Array(None)),
            Some(("array", n)) => count(n).map(|n| Shard::Array(Some(n))).ok_or_else(wrong),
            Some((k, n)) => match (count(k), count(n)) {
                (Some(k), Some(n)) if k <= n => Ok(Shard::Given(k, n)),
                _ => Err(wrong()),
            },
            None => Err(wrong()),
        }
    }
}

/// What a scheduler sets for a task of an array: the index, the first of all and the last, or how many;
/// and the first where it is not said.
struct Array {
    index: &'static str,
    first: &'static str,
    last: &'static str,
    count: &'static str,
    usual_first: usize,
}

const ARRAYS: [Array; 4] = [
    Array {
        index: "SLURM_ARRAY_TASK_ID",
        first: "SLURM_ARRAY_TASK_MIN",
        last: "SLURM_ARRAY_TASK_MAX",
        count: "SLURM_ARRAY_TASK_COUNT",
        usual_first: 1,
    },
    Array {
        index: "PBS_ARRAY_INDEX",
        first: "",
        last: "",
        count: "",
        usual_first: 1,
    },
    Array {
        index: "SGE_TASK_ID",
        first: "SGE_TASK_FIRST",
        last: "SGE_TASK_LAST",
        count: "",
        usual_first: 1,
    },
    Array {
        index: "JOB_COMPLETION_INDEX",
        first: "",
        last: "",
        count: "",
        // Kubernetes numbers them from 0.
        usual_first: 0,
    },
];

impl Array {
    /// How many tasks it says there are, where they are numbered without a gap from `first` on: of some tasks
    /// done again, or of steps, neither number tells of parts.
    fn tasks(&self, number: impl Fn(&str) -> Option<usize>, first: usize) -> Option<usize> {
        // Whatever a scheduler says, the span does not go below 0.
        let span = number(self.last).map(|last| (last + 1).saturating_sub(first));
        match (number(self.count), span) {
            (Some(count), Some(span)) if count != span => None,
            (count, span) => count.or(span),
        }
    }
}

impl Shard {
    /// K, N and where they come from, in words; `variable` looks into the environment.
    ///
    /// # Errors
    ///
    /// When there is no scheduler, or it does not say enough.
    pub fn resolved(
        &self,
        variable: impl Fn(&str) -> Option<String>,
    ) -> Result<(usize, usize, String)> {
        let given = match self {
            Shard::Given(k, n) => return Ok((*k, *n, String::new())),
            Shard::Array(given) => *given,
        };
        let number = |name: &str| variable(name)?.trim().parse::<usize>().ok();
        let found = ARRAYS
            .iter()
            .find_map(|array| Some((array, number(array.index)?)));
        let (array, index) = found.ok_or_else(|| Error::CannotDo {
            why: "--shard array: no scheduler says which part".into(),
            remedy: format!(
                "expected one of {}, or --shard K/N",
                ARRAYS.map(|a| a.index).join(", ")
            ),
        })?;
        let first = number(array.first).unwrap_or(array.usual_first);
        let said = array.tasks(number, first);
        let n = given.or(said).ok_or_else(|| Error::CannotDo {
            why: format!(
                "{} does not come with how many parts there are",
                array.index
            ),
            remedy: "expected --shard array/N".into(),
        })?;
        // An array of other tasks than parts does some of them again: they keep their numbers.
        let first = match said {
            Some(said) if said == n => first,
            _ => array.usual_first,
        };
        match (index + 1).checked_sub(first) {
            Some(k) if (1..=n).contains(&k) => {
                Ok((k, n, format!(" (from {}={index})", array.index)))
            }
            _ => Err(Error::CannotDo {
                why: format!(
                    "{}={index} is not one of {n} parts from {first} on",
                    array.index
                ),
                remedy: "expected tasks numbered like the parts".into(),
            }),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(text: &str, variables: &[(&str, &str)]) -> std::result::Result<(usize, usize), String> {
        let shard: Shard = text.parse()?;
        let found = shard.resolved(|name| {
            let found = variables.iter().find(|v| v.0 == name);
            found.map(|v| v.1.to_owned())
        });
        found.map(|(k, n, _)| (k, n)).map_err(|e| e.to_string())
    }

    #[test]
    fn parts_are_given_or_those_of_a_scheduler() {
        assert_eq!(of("3/12", &[]), Ok((3, 12)));
        let slurm = [
            ("SLURM_ARRAY_TASK_ID", "0"),
            ("SLURM_ARRAY_TASK_MIN", "0"),
            ("SLURM_ARRAY_TASK_MAX", "11"),
            ("SLURM_ARRAY_TASK_COUNT", "12"),
        ];
        assert_eq!(of("array", &slurm), Ok((1, 12)));
        assert_eq!(
            of("array", &[("SLURM_ARRAY_TASK_ID", "12"), slurm[3]]),
            Ok((12, 12))
        );
        let sge = [
            ("SGE_TASK_ID", "4"),
            ("SGE_TASK_FIRST", "1"),
            ("SGE_TASK_LAST", "9"),
        ];
        assert_eq!(of("array", &sge), Ok((4, 9)));
        assert_eq!(of("array/5", &[("JOB_COMPLETION_INDEX", "4")]), Ok((5, 5)));
        assert_eq!(of("array/5", &[("PBS_ARRAY_INDEX", "5")]), Ok((5, 5)));
    }

    #[test]
    fn parts_that_are_done_again_keep_their_numbers() {
        let again = [
            ("SLURM_ARRAY_TASK_ID", "3"),
            ("SLURM_ARRAY_TASK_MIN", "3"),
            ("SLURM_ARRAY_TASK_MAX", "7"),
            ("SLURM_ARRAY_TASK_COUNT", "2"),
        ];
        assert_eq!(of("array/12", &again), Ok((3, 12)));
        // Without how many parts there are, the third of twelve would be the first of two.
        let message = of("array", &again).unwrap_err();
        assert!(message.contains("expected --shard array/N"), "{message}");
        let sge = [
            ("SGE_TASK_ID", "6"),
            ("SGE_TASK_FIRST", "5"),
            ("SGE_TASK_LAST", "7"),
        ];
        assert_eq!(of("array/12", &sge), Ok((6, 12)));
    }

    #[test]
    fn what_is_wrong_is_told() {
        for (text, variables, words) in [
            ("0/3", &[][..], "expected K/N"),
            ("4/3", &[], "expected K/N"),
            ("array", &[], "no scheduler"),
            ("array", &[("JOB_COMPLETION_INDEX", "1")], "array/N"),
            ("array/5", &[("JOB_COMPLETION_INDEX", "5")], "not one of 5"),
            ("array", &[("SGE_TASK_ID", "undefined")], "no scheduler"),
        ] {
            let message = of(text, variables).unwrap_err();
            assert!(message.contains(words), "{text}: {message}");
        }
    }
}

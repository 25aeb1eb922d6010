//! What a file holds besides, counted by why it is not used.

/// Reasons with how often each was met, in the order they first were; and notes.
#[derive(Debug, Default)]
pub(super) struct LeftOut {
    counted: Vec<(String, usize)>,
    notes: Vec<String>,
}

impl LeftOut {
    /// One more for a reason.
    pub fn count(&mut self, why: impl Into<String>) {
        let why = why.into();
        match self.counted.iter_mut().find(|(w, _)| *w == why) {
            Some((_, times)) => *times += 1,
            None => self.counted.push((why, 1)),
        }
    }

    /// Something that is not counted.
    pub fn note(&mut self, words: String) {
        self.notes.push(words);
    }

    /// Each reason in words, as in "12 messages: accumulations"; `what` is one and many.
    pub fn words(&self, [one, many]: [&str; 2]) -> Vec<String> {
        let counted = self.counted.iter().map(|(why, times)| match times {
            1 => format!("1 {one}: {why}"),
            n => format!("{n} {many}: {why}"),
        });
        counted.chain(self.notes.iter().cloned()).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn reasons_are_counted() {
        let mut left_out = LeftOut::default();
        left_out.note("3 bytes at the end".into());
        for why in ["spreads", "rain", "spreads"] {
            left_out.count(why);
        }
        let words = left_out.words(["message", "messages"]);
        let expected = [
            "2 messages: spreads",
            "1 message: rain",
            "3 bytes at the end",
        ];
        assert_eq!(words, expected);
    }
}

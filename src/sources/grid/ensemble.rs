//! Which fields of one file, and of several before they are joined, are members of an ensemble.

use std::collections::BTreeSet;

use super::archive::Joining;
use super::{Catalogue, GridFile};
use crate::notes::left_out::{LeftOut, NoField};

/// Leaves the mean of an ensemble out of a file that has its members, too: it is no further one of them.
/// `places` are where the slabs are, one each.
pub(super) fn drop_means<P>(
    catalogue: &mut Catalogue,
    places: &mut Vec<P>,
    is_mean: impl Fn(&P) -> bool,
) {
    if catalogue.slabs.iter().all(|slab| slab.member.is_none()) {
        return;
    }
    let mut of_slabs = places.iter();
    catalogue.slabs.retain(|_| {
        let is_mean = of_slabs.next().is_some_and(&is_mean);
        if is_mean {
            let why = "the mean of an ensemble, beside its members";
            catalogue.left_out.count(why);
        }
        !is_mean
    });
    places.retain(|place| !is_mean(place));
}

/// The files without those of the mean, if there are members: it is no further one of them.
pub(super) fn without_means(
    files: Vec<GridFile>,
    how: Joining,
    left_out: &mut Vec<LeftOut>,
) -> Vec<GridFile> {
    let is_member = |file: &GridFile| {
        let has_number = || file.slabs.iter().any(|slab| slab.member.is_some());
        !file.is_mean() && (how.member_per_file || has_number())
    };
    if !files.iter().any(is_member) {
        return files;
    }
    let (means, files): (Vec<_>, Vec<_>) = files.into_iter().partition(GridFile::is_mean);
    let count = means.iter().map(|file| file.slabs.len()).sum();
    left_out.extend(LeftOut::fields(count, NoField::EnsembleMean));
    files
}

/// Where two members share a number, one with a perturbation and one against it, the latter are numbered on
/// from the highest, whether they are counted from 0 or from 1.
pub(super) fn number_apart(files: &mut [GridFile]) {
    let numbers = |minus: bool| -> BTreeSet<u32> {
        let slabs = files.iter().flat_map(|file| &file.slabs);
        slabs
            .filter(|slab| slab.minus == minus)
            .filter_map(|slab| slab.member)
            .collect()
    };
    let (plus, minus) = (numbers(false), numbers(true));
    if plus.is_disjoint(&minus) {
        return;
    }
    let highest = plus.union(&minus).max().copied().unwrap_or_default();
    let from = highest.saturating_add(u32::from(minus.contains(&0)));
    let slabs = files.iter_mut().flat_map(|file| &mut file.slabs);
    for slab in slabs.filter(|slab| slab.minus) {
        slab.member = slab.member.map(|number| number.saturating_add(from));
    }
}

//! The values of one array: which of its chunks a part of it needs, and what they hold.
//!
//! The smallest pieces that can be unpacked are chunks, or where several of these are kept together in
//! a shard, the chunks in it. Of a piece only what lies in the region that is asked for is kept, with
//! all its levels and times: slabs are asked for one by one, and a piece may hold many of them.

use std::borrow::Cow;
use std::collections::{HashMap, VecDeque};
use std::num::NonZeroU64;
use std::ops::Range;
use std::sync::{Arc, Mutex, MutexGuard, OnceLock, PoisonError};

use ndarray::{ArrayD, ArrayViewD, Axis, Dimension, IxDyn, Slice, indices};
use netcdf_reader::masked::MaskParams;
use netcdf_reader::unpack::{SignParams, UnpackParams};
use netcdf_reader::{NcSliceInfoElem, NcType, NcVariable};
use zarrs::array::{
    Array, ArrayMetadata, ArrayShardedExt, ArrayShardedReadableExt, ArrayShardedReadableExtCache,
    ArrayToBytesCodecTraits, CodecChain, CodecOptions, data_type,
};
use zarrs::metadata::v3::MetadataV3;

use super::metadata;
use super::packing::Packing;
use super::place::Place;

/// The most bytes of a chunk, unpacked: a variable of a global reanalysis at one hour, with all its
/// levels, has 154 MB.
const MOST_UNPACKED: usize = 256 << 20;
/// The most chunks in a shard, whose places stand in one list.
const MOST_IN_SHARD: u64 = 1 << 20;
/// The most values of an array that are kept beyond the piece that is asked for.
const MOST_KEPT: usize = 8 << 20;
/// Points around a region that are kept with it where it came over a network: 12 degrees of a fine grid.
const MARGIN: usize = 48;

type Result<T> = std::result::Result<T, String>;

/// An array in a store.
pub(super) struct Chunked {
    array: Array<Place>,
    place: Arc<Place>,
    packing: Packing,
    /// What unpacks a piece.
    codecs: Arc<CodecChain>,
    /// The same as a variable of a data set: how its numbers are to be taken.
    variable: NcVariable,
    /// The shape of the pieces.
    piece: Vec<usize>,
    /// How many of them a shard has along each dimension; `None` where there are no shards.
    in_shard: Option<Vec<u64>>,
    shards: ArrayShardedReadableExtCache,
    known: Mutex<HashMap<Vec<u64>, bool>>,
    kept: Mutex<VecDeque<Kept>>,
}

/// A piece by its place, and the part of it that is needed along each dimension.
type Key = (Vec<u64>, Vec<Range<usize>>);

/// Values that were decoded, or are by another thread.
struct Kept {
    key: Key,
    values: Arc<OnceLock<Result<Arc<ArrayD<f64>>>>>,
}

/// Where values lie in their piece along each dimension, and the values.
type Part = (Vec<Range<usize>>, Arc<ArrayD<f64>>);

impl Kept {
    fn holds(&self, key: &Key) -> bool {
        let mut along = self.key.1.iter().zip(&key.1);
        self.key.0 == key.0
            && along.all(|(kept, needed)| kept.start <= needed.start && needed.end <= kept.end)
    }

    fn count(&self) -> usize {
        self.key.1.iter().map(Range::len).product()
    }
}

impl Chunked {
    /// Opens an array, as a variable; or says why it is not read.
    pub fn open(place: &Arc<Place>, name: &str, packing: Packing) -> Result<(NcVariable, Chunked)> {
        let array =
            Array::open(place.clone(), &format!("/{name}")).map_err(|cause| cause.to_string())?;
        let variable = metadata::variable(name, &array, numbers_of(&array)?)?;
        if array.shape().contains(&0) {
            return Err("no values".into());
        }
        // They would have to be unpacked whole, which nothing here bounds.
        if array.is_sharded() && !array.is_exclusively_sharded() {
            return Err("shards that are packed once more".into());
        }
        let first = vec![0; array.dimensionality()];
        let chunk = array.chunk_shape(&first).map_err(|c| c.to_string())?;
        let inner = array.subchunk_shape();
        let in_shard: Option<Vec<u64>> = inner.as_ref().map(|inner| {
            let along = chunk.iter().zip(inner);
            along
                .map(|(chunk, inner)| chunk.get() / inner.get())
                .collect()
        });
        check_shard(in_shard.as_deref())?;
        let codecs = match in_shard {
            None => array.codecs(),
            Some(_) => codecs_in_shard(&array)?,
        };
        let piece = inner.unwrap_or(chunk);
        let piece: Vec<usize> = piece.iter().map(|n| n.get() as usize).collect();
        // All numbers that `numbers_of` lets through have a size.
        let bytes = array.data_type().fixed_size().unwrap_or(8);
        let all = piece.iter().try_fold(bytes, |all, n| all.checked_mul(*n));
        if all.is_none_or(|all| all > MOST_UNPACKED) {
            return Err(format!("chunks of more than {} MB", MOST_UNPACKED >> 20));
        }
        let shards = ArrayShardedReadableExtCache::new(&array);
        let chunked = Chunked {
            array,
            place: place.clone(),
            packing,
            codecs,
            variable: variable.clone(),
            piece,
            in_shard,
            shards,
            known: Mutex::default(),
            kept: Mutex::default(),
        };
        Ok((variable, chunked))
    }

    /// All values, for what is small.
    pub fn all(&self) -> Result<ArrayD<f64>> {
        let whole = |&size: &u64| NcSliceInfoElem::Slice {
            start: 0,
            end: size,
            step: 1,
        };
        self.part(&self.array.shape().iter().map(whole).collect::<Vec<_>>())
    }

    /// Along each dimension one index or some.
    pub fn part(&self, selections: &[NcSliceInfoElem]) -> Result<ArrayD<f64>> {
        let wanted = self.ranges(selections)?;
        let shape: Vec<usize> = wanted.iter().map(Range::len).collect();
        let mut values = ArrayD::zeros(IxDyn(&shape));
        for place in self.pieces(&wanted) {
            let first = self.first_of(&place);
            let (inside, piece) = self.kept(&place, self.needed(&first, &wanted, selections))?;
            let overlap = |d: usize| {
                let from = wanted[d].start.max(first[d]);
                from..wanted[d].end.min(first[d] + self.piece[d])
            };
            let target = |d: usize| shifted(overlap(d), wanted[d].start);
            let source = |d: usize| shifted(overlap(d), first[d] + inside[d].start);
            let taken = piece.slice_each_axis(|axis| Slice::from(source(axis.axis.index())));
            values
                .slice_each_axis_mut(|axis| Slice::from(target(axis.axis.index())))
                .assign(&taken);
        }
        // From the last on: taking one out renumbers those behind it.
        for (d, selection) in selections.iter().enumerate().rev() {
            if let NcSliceInfoElem::Index(_) = selection {
                values = values.index_axis_move(Axis(d), 0);
            }
        }
        Ok(values)
    }

    /// How many of the pieces that a part needs are stored, and how many it needs. What is known only
    /// once it is asked for passes for stored: who asked for all would ask for a whole record.
    pub fn stored(&self, selections: &[NcSliceInfoElem]) -> Result<[usize; 2]> {
        if self.place.is_asked() {
            return Ok([1, 1]);
        }
        let places = self.pieces(&self.ranges(selections)?);
        let mut there = 0;
        for place in &places {
            there += usize::from(self.is_stored(place)?);
        }
        Ok([there, places.len()])
    }

    fn ranges(&self, selections: &[NcSliceInfoElem]) -> Result<Vec<Range<usize>>> {
        let range = |(selection, size): (&NcSliceInfoElem, &u64)| {
            let (start, end) = match *selection {
                NcSliceInfoElem::Index(i) => (i, i.checked_add(1)?),
                NcSliceInfoElem::Slice { start, end, .. } => (start, end),
            };
            (start <= end && end <= *size).then_some(start as usize..end as usize)
        };
        let sized = selections.iter().zip(self.array.shape());
        let ranges: Option<Vec<_>> = sized.map(range).collect();
        ranges
            .filter(|ranges| ranges.len() == self.piece.len())
            .ok_or_else(|| "a part that is not within the array".to_owned())
    }

    /// The places of all pieces that overlap a part.
    fn pieces(&self, wanted: &[Range<usize>]) -> Vec<Vec<u64>> {
        let along = wanted.iter().zip(&self.piece);
        let along: Vec<Range<usize>> = along
            .map(|(range, piece)| range.start / piece..range.end.div_ceil(*piece))
            .collect();
        let many: Vec<usize> = along.iter().map(Range::len).collect();
        let place = |at: IxDyn| {
            let at = at.slice().iter().zip(&along);
            at.map(|(i, along)| (along.start + i) as u64).collect()
        };
        indices(many).into_iter().map(place).collect()
    }

    /// The index of a piece's first value along each dimension.
    fn first_of(&self, place: &[u64]) -> Vec<usize> {
        let place = place.iter().zip(&self.piece);
        place.map(|(at, piece)| *at as usize * piece).collect()
    }

    /// What is kept of a piece: the region that is asked for, and all of it along other dimensions. Over a
    /// network some of what lies around, too: flights are first followed near the site, then as far as they go.
    fn needed(
        &self,
        first: &[usize],
        wanted: &[Range<usize>],
        selections: &[NcSliceInfoElem],
    ) -> Vec<Range<usize>> {
        let along = |d: usize| {
            let last = (first[d] + self.piece[d]).min(self.array.shape()[d] as usize);
            match selections[d] {
                NcSliceInfoElem::Index(_) => 0..last - first[d],
                NcSliceInfoElem::Slice { .. } => {
                    let margin = if self.place.is_asked() { MARGIN } else { 0 };
                    let from = wanted[d].start.saturating_sub(margin).max(first[d]);
                    shifted(from..(wanted[d].end + margin).min(last), first[d])
                }
            }
        };
        (0..self.piece.len()).map(along).collect()
    }

    /// Decodes a part of a piece, unless it is at hand. Several threads that ask for the same wait for
    /// the one that decodes it: a global hour is 154 MB for each. What is given holds what is needed, and
    /// where in the piece it lies.
    fn kept(&self, place: &[u64], needed: Vec<Range<usize>>) -> Result<Part> {
        let key = (place.to_vec(), needed);
        let mut kept = locked(&self.kept);
        let (key, values) = match kept.iter().find(|kept| kept.holds(&key)) {
            Some(known) => (known.key.clone(), known.values.clone()),
            None => {
                let new = Kept {
                    key: key.clone(),
                    values: Arc::default(),
                };
                let values = new.values.clone();
                kept.push_back(new);
                // What is asked for now stays, however large it is.
                while kept.len() > 1 && kept.iter().map(Kept::count).sum::<usize>() > MOST_KEPT {
                    kept.pop_front();
                }
                (key, values)
            }
        };
        // Decoding takes long, and other threads may want other pieces.
        drop(kept);
        let decoded = || self.decoded(&key.0, &key.1).map(Arc::new);
        let values = values.get_or_init(decoded).clone()?;
        Ok((key.1, values))
    }

    fn decoded(&self, place: &[u64], needed: &[Range<usize>]) -> Result<ArrayD<f64>> {
        let mut values = match self.packed(place)? {
            Some(packed) => {
                let bytes = self.unpacked(packed)?;
                numbers(&self.variable.dtype, &bytes, &self.piece, needed)?
            }
            None => {
                let shape: Vec<usize> = needed.iter().map(Range::len).collect();
                ArrayD::from_elem(IxDyn(&shape), self.of_missing_chunks()?)
            }
        };
        // In this order: marks of missing values are packed numbers, and read with their sign.
        if let Some(sign) = SignParams::from_variable(&self.variable) {
            sign.apply(&mut values);
        }
        if let Some(mask) = MaskParams::from_variable(&self.variable) {
            mask.apply(&mut values);
        }
        if let Some(unpack) = UnpackParams::from_variable(&self.variable) {
            unpack.apply(&mut values);
        }
        Ok(values)
    }

    /// What stands for chunks that are not stored. Writers leave out those that hold the fill value
    /// only: of coordinates that is a value, such as hour 0; of fields it means that nothing was
    /// written.
    fn of_missing_chunks(&self) -> Result<f64> {
        if self.piece.len() > 1 {
            return Ok(f64::NAN);
        }
        let bytes = self.array.fill_value().as_ne_bytes();
        let one = numbers(
            &self.variable.dtype,
            bytes,
            &[1],
            std::slice::from_ref(&(0..1)),
        )?;
        Ok(one.first().copied().unwrap_or(f64::NAN))
    }

    fn is_stored(&self, place: &[u64]) -> Result<bool> {
        // A piece holds many slabs, each of which asks: files are looked for once.
        if let Some(known) = locked(&self.known).get(place) {
            return Ok(*known);
        }
        let stored = match &self.in_shard {
            None => self.has_file(place)?,
            Some(_) => self.range_in_shard(place)?.is_some(),
        };
        locked(&self.known).insert(place.to_vec(), stored);
        Ok(stored)
    }

    /// Whether the file of a chunk or shard may be there.
    fn has_file(&self, chunk: &[u64]) -> Result<bool> {
        let has = self.place.has(&self.array.chunk_key(chunk))?;
        Ok(has.unwrap_or(true))
    }

    /// How many bytes a chunk has in its shard; `None` where it is not stored.
    fn range_in_shard(&self, place: &[u64]) -> Result<Option<u64>> {
        let many = self.in_shard.iter().flatten();
        let shard: Vec<u64> = place.iter().zip(many).map(|(at, many)| at / many).collect();
        // The file first: a shard that is not there has no list to look into.
        if !self.has_file(&shard)? {
            return Ok(None);
        }
        let range = self.array.subchunk_byte_range(&self.shards, place);
        let range = range.map_err(|cause| cause.to_string())?;
        Ok(range.map(|range| range.length(u64::MAX)))
    }

    /// A piece as it is stored, looked at before it is unpacked: one that would fill the memory is
    /// refused. `None` where it is not stored.
    fn packed(&self, place: &[u64]) -> Result<Option<Vec<u8>>> {
        let bytes = self.array.data_type().fixed_size().unwrap_or(8);
        // Twice as much, for what packing may add.
        // Bounded when the array was opened.
        let most = 2 * bytes * self.piece.iter().product::<usize>() + (64 << 10);
        let packed = match self.in_shard {
            None => {
                let whole = self.place.whole(&self.array.chunk_key(place), most)?;
                whole.map(Vec::from)
            }
            Some(_) => match self.range_in_shard(place)? {
                None => None,
                Some(packed) if packed > most as u64 => {
                    return Err(format!("a chunk of more than {most} bytes"));
                }
                Some(_) => self
                    .array
                    .retrieve_encoded_subchunk(&self.shards, place)
                    .map_err(|cause| cause.to_string())?,
            },
        };
        if let Some(packed) = &packed {
            self.packing.check(packed, most)?;
        }
        Ok(packed)
    }

    fn unpacked(&self, packed: Vec<u8>) -> Result<Vec<u8>> {
        let shape: Option<Vec<NonZeroU64>> = self
            .piece
            .iter()
            .map(|n| NonZeroU64::new(*n as u64))
            .collect();
        let shape = shape.ok_or("chunks without values")?;
        // In this thread: one that waits for others in the pool could take up a task that waits
        // for this piece.
        let alone = CodecOptions::default().with_concurrent_target(1);
        let (kind, fill) = (self.array.data_type(), self.array.fill_value());
        self.codecs
            .decode(Cow::Owned(packed), &shape, kind, fill, &alone)
            .map_err(|cause| cause.to_string())?
            .into_fixed()
            .map(Cow::into_owned)
            .map_err(|cause| cause.to_string())
    }
}

/// What unpacks the chunks within a shard.
fn codecs_in_shard(array: &Array<Place>) -> Result<Arc<CodecChain>> {
    let ArrayMetadata::V3(metadata) = array.metadata() else {
        return Err("shards in a store of version 2".into());
    };
    // There is no other codec beside that of the shards.
    let shards = metadata.codecs.first().and_then(MetadataV3::configuration);
    let inside = shards.and_then(|shards| shards.get("codecs"));
    let inside = serde_json::to_value(inside).and_then(serde_json::from_value::<Vec<MetadataV3>>);
    let inside = inside.map_err(|cause| cause.to_string())?;
    let chain = CodecChain::from_metadata(&inside).map_err(|cause| cause.to_string())?;
    Ok(Arc::new(chain))
}

fn check_shard(in_shard: Option<&[u64]>) -> Result<()> {
    let many = in_shard.map(|along| along.iter().try_fold(1_u64, |all, n| all.checked_mul(*n)));
    match many {
        Some(None) => Err("shards of very many chunks".into()),
        Some(Some(many)) if many > MOST_IN_SHARD => Err(format!("shards of {many} chunks")),
        _ => Ok(()),
    }
}

fn shifted(range: Range<usize>, by: usize) -> Range<usize> {
    range.start - by..range.end - by
}

/// What is locked is whole at any time, so that a panic elsewhere does no harm.
fn locked<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

/// What an array's numbers are.
fn numbers_of(array: &Array<Place>) -> Result<NcType> {
    let kinds = [
        (data_type::float32(), NcType::Float),
        (data_type::float64(), NcType::Double),
        (data_type::int8(), NcType::Byte),
        (data_type::int16(), NcType::Short),
        (data_type::int32(), NcType::Int),
        (data_type::int64(), NcType::Int64),
        (data_type::uint8(), NcType::UByte),
        (data_type::uint16(), NcType::UShort),
        (data_type::uint32(), NcType::UInt),
        (data_type::uint64(), NcType::UInt64),
    ];
    let found = kinds
        .into_iter()
        .find(|(kind, _)| kind == array.data_type());
    let kind = found.map(|(_, numbers)| numbers);
    kind.ok_or_else(|| format!("values that are no plain numbers ({:?})", array.data_type()))
}

/// A part of a piece's values from its bytes.
fn numbers(
    kind: &NcType,
    bytes: &[u8],
    shape: &[usize],
    needed: &[Range<usize>],
) -> Result<ArrayD<f64>> {
    macro_rules! of {
        ($number:ty) => {
            taken(bytes, shape, needed, |b| <$number>::from_ne_bytes(b) as f64)
        };
    }
    match kind {
        NcType::Float => of!(f32),
        NcType::Double => of!(f64),
        NcType::Byte => of!(i8),
        NcType::Short => of!(i16),
        NcType::Int => of!(i32),
        NcType::Int64 => of!(i64),
        NcType::UByte => of!(u8),
        NcType::UShort => of!(u16),
        NcType::UInt => of!(u32),
        NcType::UInt64 => of!(u64),
        other => Err(format!("values that are no numbers ({other:?})")),
    }
}

fn taken<const N: usize>(
    bytes: &[u8],
    shape: &[usize],
    needed: &[Range<usize>],
    number: impl Fn([u8; N]) -> f64,
) -> Result<ArrayD<f64>> {
    let (numbers, rest) = bytes.as_chunks::<N>();
    let all = ArrayViewD::from_shape(IxDyn(shape), numbers)
        .ok()
        .filter(|_| rest.is_empty())
        .ok_or_else(|| {
            format!(
                "a chunk of {} bytes, which does not fit its shape",
                bytes.len()
            )
        })?;
    let part = all.slice_each_axis(|axis| Slice::from(needed[axis.axis.index()].clone()));
    Ok(part.map(|bytes| number(*bytes)))
}

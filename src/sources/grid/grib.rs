//! GRIB, editions 1 and 2: the catalogue of a file, and one field of it.
//!
//! What is used is known by its numbers (see `parameter`): fields valid at one moment, on isobaric
//! surfaces, at the ground or this many metres above it. Members of an ensemble and its mean are
//! taken; spreads, probabilities and statistics over time are left out and counted, but for the
//! strongest gusts.
//!
//! # References
//!
//! WMO-No. 306, Manual on Codes, volume I.2: GRIB 2 product definition templates 4.0 to 4.12, code
//! tables 1.2, 4.5, 4.6 and 4.7; GRIB 1 section 1 and code tables 3 and 5. Numbers of members in GRIB 1
//! stand in ECMWF's local extensions 1, 30 and 36 of section 1.

#![allow(
    clippy::indexing_slicing,
    clippy::string_slice,
    reason = "files, lattices, slabs and steps are numbered by ourselves"
)]

use grib_reader::{
    DataRepresentation, Grib1ProductDefinition, GridDefinition, Message, ProductDefinition,
    ProductDefinitionTemplate, ReferenceTime,
};
use jiff::Timestamp;
use jiff::civil::DateTime;
use jiff::tz::TimeZone;
use ndarray::Array2;

use super::ensemble::drop_means;
use super::framing::{Messages, OF_GRIB, builder, packing_name};
use super::grib_lattice::{NoLattice, Scan, along_grid, assumed, lattice};
use super::grib_mended::mended;
use super::grib_reduced::{filled, row_lengths};
use super::grib1_grid::{component_flags, definition};
use super::parameter::{self, Meaning, above_ground, isobaric};
use super::{Catalogue, GridFile, MODEL_LEVELS, Source};
use crate::error::{Fault, Result};
use crate::geodesy::lattice::{Lattice, Window};
use crate::numeric::single;
use crate::wind::slab::{Quantity, Slab, Span, Surface};

/// The fields that are slabs, each with where it is.
pub(super) struct Fields {
    messages: Messages,
    places: Vec<Place>,
}

struct Place {
    /// The field's number in the file.
    field: usize,
    /// Our unit for one of the file's.
    unit: f64,
    whose: Whose,
}

/// What a field is, before its grid is looked at.
pub(super) struct Field {
    meaning: Meaning,
    surface: Surface,
    run: Timestamp,
    valid: Timestamp,
    span: Span,
    whose: Whose,
}

/// Which forecast a field is of.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Whose {
    /// The only one.
    Only,
    /// The mean of an ensemble's members.
    Mean,
    /// The member of an ensemble with this number; with `minus` that whose perturbation was taken away.
    Member { number: u32, minus: bool },
}

impl Whose {
    /// Of a member, by code table 4.6: there may be one with a perturbation and one against it.
    fn member(number: u8, kind: u8) -> Whose {
        Whose::Member {
            number: u32::from(number),
            minus: kind == NEGATIVE,
        }
    }
}

/// The kind of members whose perturbation was taken away.
const NEGATIVE: u8 = 2;

/// Why a field is left out.
pub(super) type Described<T> = std::result::Result<T, String>;

/// Lists what is of use.
pub(super) fn catalogue(name: &str, mut messages: Messages) -> Result<GridFile> {
    let mut catalogue = Catalogue {
        left_out: std::mem::take(&mut messages.left_out),
        ..Catalogue::default()
    };
    let mut places = Vec::new();
    let mut known = Grids(Vec::new());
    for (field, message) in messages.file.messages().enumerate() {
        if let DataRepresentation::Unsupported(template) = message.metadata().data_representation {
            catalogue.left_out.count(packing_name(template));
            continue;
        }
        // Before the grid: a wrong grid fails the file, and must not where nobody wants the field.
        let described = match described(&message) {
            Ok(described) => described,
            Err(why) => {
                catalogue.left_out.count(why);
                continue;
            }
        };
        let number = match known.number(&message, &mut catalogue) {
            Ok(number) => number,
            Err(NoLattice::NotRead(why)) => {
                catalogue.left_out.count(why);
                continue;
            }
            Err(NoLattice::Wrong(found, expected)) => {
                let fault = Fault::new(name, found, expected);
                return Err(fault.of_key(messages.place(field)).into());
            }
        };
        let quantity = described.meaning.quantity;
        let is_wind = matches!(quantity, Quantity::EastWind | Quantity::NorthWind);
        catalogue.slabs.push(Slab {
            quantity,
            surface: described.surface,
            run: Some(described.run),
            valid: described.valid,
            span: described.span,
            member: match described.whose {
                Whose::Member { number, .. } => Some(number),
                Whose::Only | Whose::Mean => None,
            },
            minus: matches!(described.whose, Whose::Member { minus: true, .. }),
            lattice: number,
            along_grid: is_wind && along_grid(&definition(&message), component_flags(&message)),
        });
        places.push(Place {
            field,
            unit: described.meaning.unit,
            whose: described.whose,
        });
    }
    drop_means(&mut catalogue, &mut places, |place| {
        place.whose == Whose::Mean
    });
    let source = Source::Grib(Fields { messages, places });
    catalogue.finish(name, source, OF_GRIB)
}

/// The grids met so far: a projection is set up once for each, not for each message.
struct Grids(Vec<(u8, GridDefinition, usize)>);

impl Grids {
    fn number(
        &mut self,
        message: &Message<'_>,
        catalogue: &mut Catalogue,
    ) -> std::result::Result<usize, NoLattice> {
        let (edition, grid) = (message.edition(), definition(message));
        // Of the other edition the same numbers are rounded otherwise, so their lattice may differ.
        let met = self.0.iter().find(|(e, g, _)| *e == edition && *g == *grid);
        if let Some((_, _, number)) = met {
            return Ok(*number);
        }
        let number = catalogue.lattice(lattice(edition, &grid)?);
        if let Some(assumed) = assumed(&grid) {
            catalogue.assume(assumed);
        }
        self.0.push((edition, grid.into_owned(), number));
        Ok(number)
    }
}

pub(super) fn described(message: &Message<'_>) -> Described<Field> {
    match (
        message.product_definition(),
        message.grib1_product_definition(),
    ) {
        (Some(product), _) => described_2(message, product),
        (None, Some(product)) => described_1(message, product),
        (None, None) => Err("without a product".into()),
    }
}

fn described_2(message: &Message<'_>, product: &ProductDefinition) -> Described<Field> {
    let discipline = message.metadata().discipline.unwrap_or(u8::MAX);
    let (category, number) = (product.parameter_category, product.parameter_number);
    let meaning = parameter::grib2(discipline, category, number);
    let is_gust = meaning.is_some_and(|meaning| meaning.quantity == Quantity::Gust);
    let (whose, span) = match strongest(&product.template).filter(|_| is_gust) {
        Some(of_gusts) => of_gusts,
        None => (whose_2(&product.template)?, Span::Moment),
    };
    // After the kind of product: sums and means are told as such, whatever they are of.
    let meaning = meaning.ok_or("quantities that are not used")?;
    let surface = parameter::placed(meaning.quantity, surface_2(product)?);
    // 0: of the analysis, 1: of the start of the forecast.
    let significance = message
        .identification()
        .map(|id| id.significance_of_reference_time);
    if !matches!(significance, Some(0 | 1)) {
        return Err("times that do not count from a run".into());
    }
    let (run, valid) = times(message)?;
    Ok(Field {
        meaning,
        surface,
        run,
        valid,
        span,
        whose,
    })
}

/// Member and time of a field that holds the largest values over some time.
fn strongest(template: &ProductDefinitionTemplate) -> Option<(Whose, Span)> {
    use ProductDefinitionTemplate as T;
    let (whose, interval) = match template {
        T::StatisticalProcess(of_one) => (Whose::Only, &of_one.interval),
        T::EnsembleStatisticalProcess(of_member) => {
            let of = &of_member.ensemble;
            let whose = Whose::member(of.perturbation_number, of.type_of_ensemble_forecast);
            (whose, &of_member.interval)
        }
        _ => return None,
    };
    // With several ranges it is a statistic of a statistic.
    let [range] = interval.time_ranges.as_slice() else {
        return None;
    };
    // Code tables 4.10 and 4.4.
    let unit_s = match range.time_range_unit {
        0 => 60,
        1 => 3_600,
        13 => 1,
        _ => return None,
    };
    let span = match range.time_range_length.checked_mul(unit_s)? {
        0 => Span::SinceLast,
        span_s => Span::Before(span_s),
    };
    (range.type_of_statistical_processing == 2).then_some((whose, span))
}

/// Which forecast a field valid at one moment is of.
fn whose_2(template: &ProductDefinitionTemplate) -> Described<Whose> {
    use ProductDefinitionTemplate as T;
    match template {
        T::AnalysisOrForecast(_) => Ok(Whose::Only),
        T::IndividualEnsembleForecast(member) => Ok(Whose::member(
            member.perturbation_number,
            member.type_of_ensemble_forecast,
        )),
        // 0 and 1: means of all members, plain and weighted.
        T::DerivedForecast(derived) if derived.derived_forecast_type <= 1 => Ok(Whose::Mean),
        T::DerivedForecast(_) => Err("spreads and other statistics of an ensemble".into()),
        T::StatisticalProcess(_)
        | T::EnsembleStatisticalProcess(_)
        | T::DerivedStatisticalProcess(_) => {
            Err("accumulations, means and extremes over time".into())
        }
        T::ProbabilityForecast(_)
        | T::PercentileForecast(_)
        | T::ProbabilityStatisticalProcess(_)
        | T::PercentileStatisticalProcess(_) => Err("probabilities and percentiles".into()),
        T::SpatialProcess(_) => Err("statistics over areas".into()),
        other => Err(format!("products of template 4.{}", other.number())),
    }
}

const OTHER_SURFACES: &str = "on surfaces that are not used";

fn surface_2(product: &ProductDefinition) -> Described<Surface> {
    let surface = match (product.first_surface(), product.second_surface()) {
        // A second surface makes it a layer between the two.
        (Some(surface), None) => surface,
        _ => return Err(OTHER_SURFACES.into()),
    };
    let value = surface.scaled_value_f64();
    let found = match surface.surface_type {
        1 => Some(Surface::Ground),
        100 => value.and_then(isobaric),
        103 => value.and_then(above_ground),
        // Sigma, hybrid levels of pressure and of height, and the generalised one.
        104 | 105 | 118 | 119 | 150 => return Err(MODEL_LEVELS.into()),
        _ => None,
    };
    found.ok_or_else(|| OTHER_SURFACES.into())
}

fn described_1(message: &Message<'_>, product: &Grib1ProductDefinition) -> Described<Field> {
    let (table, centre) = (product.table_version, product.center_id);
    let meaning = parameter::grib1(table, centre, product.parameter_number);
    // 0: a forecast, 1: an analysis, 10: a forecast with a long lead; the others are over time, as 2 of
    // numbers that are extremes by themselves: from P1 to P2.
    let of_a_range = meaning.is_some_and(|meaning| meaning.span != Span::Moment)
        && product.time_range_indicator == 2;
    if !matches!(product.time_range_indicator, 0 | 1 | 10) && !of_a_range {
        return Err("accumulations, means and extremes over time".into());
    }
    let meaning = meaning.ok_or("quantities that are not used")?;
    // Sigma, hybrid and hybrid-height levels.
    if matches!(product.level_type, 107 | 109 | 110 | 119) {
        return Err(MODEL_LEVELS.into());
    }
    let surface = meaning
        .surface
        .or_else(|| surface_1(product))
        .ok_or(OTHER_SURFACES)?;
    let whose = whose_1(message)?;
    let (run, valid) = times(message)?;
    Ok(Field {
        meaning,
        surface,
        run,
        valid,
        span: meaning.span,
        whose,
    })
}

fn surface_1(product: &Grib1ProductDefinition) -> Option<Surface> {
    let value = f64::from(product.level_value);
    match product.level_type {
        1 => Some(Surface::Ground),
        100 => isobaric(value * 100.0),
        105 => above_ground(value),
        _ => None,
    }
}

/// Which forecast a field in GRIB 1 is of, which has no place for that but a centre's own: octets 41
/// and on of section 1.
fn whose_1(message: &Message<'_>) -> Described<Whose> {
    // Octet n of section 1 after the 8 octets of the indicator.
    let octet = |n: usize| message.raw_bytes().get(8 + n - 1).copied();
    let length = match [octet(1), octet(2), octet(3)] {
        [Some(0), Some(high), Some(low)] => usize::from(high) << 8 | usize::from(low),
        _ => 0,
    };
    // Octet 51 is the last that is asked for below.
    let extension = if length >= 51 { octet(41) } else { None };
    let (Some(1 | 30 | 36), 98) = (extension, message.center_id()) else {
        return Ok(Whose::Only);
    };
    let (kind, number, of) = (octet(43), octet(50), octet(51));
    match kind {
        // ECMWF's types: 17 is the mean of an ensemble, 18 its standard deviation.
        Some(17) => Ok(Whose::Mean),
        Some(18) => Err("spreads and other statistics of an ensemble".into()),
        // Outside of an ensemble the total is 0.
        _ => Ok(number
            .filter(|_| of > Some(0))
            .map_or(Whose::Only, |number| Whose::Member {
                number: u32::from(number),
                minus: false,
            })),
    }
}

/// The time of the run and the time the field is for.
fn times(message: &Message<'_>) -> Described<(Timestamp, Timestamp)> {
    let run = timestamp(message.reference_time());
    let valid = message.valid_time().as_ref().and_then(timestamp);
    run.zip(valid)
        .ok_or_else(|| "times in months or years, or that do not exist".into())
}

fn timestamp(time: &ReferenceTime) -> Option<Timestamp> {
    let date_time = DateTime::new(
        time.year.try_into().ok()?,
        time.month.try_into().ok()?,
        time.day.try_into().ok()?,
        time.hour.try_into().ok()?,
        time.minute.try_into().ok()?,
        time.second.try_into().ok()?,
        0,
    );
    TimeZone::UTC.to_timestamp(date_time.ok()?).ok()
}

impl Fields {
    /// Whether they are the mean of an ensemble, whose members are elsewhere.
    pub fn is_mean(&self) -> bool {
        self.places.iter().any(|place| place.whose == Whose::Mean)
    }

    pub fn label(&self, slab: usize) -> String {
        let place = self.places.get(slab);
        place.map_or_else(String::new, |p| self.messages.place(p.field))
    }

    pub fn read(
        &self,
        name: &str,
        slab: usize,
        lattice: &Lattice,
        window: Window,
    ) -> Result<Array2<f32>> {
        let place = &self.places[slab];
        let fault = |found: String| {
            let expected = "values that can be unpacked; is the file damaged?";
            Fault::new(name, found, expected).of_key(self.messages.place(place.field))
        };
        let message = self
            .messages
            .file
            .message(place.field)
            .map_err(|cause| fault(cause.to_string()))?;
        let (scan, values) = values(&message).map_err(fault)?;
        let columns = lattice.x.count;
        let unit = place.unit;
        let value = |(row, column)| {
            // A window across the seam goes on at the first column.
            let column = (window.column + column) % columns;
            single(f64::from(values[scan.index(window.row + row, column)]) * unit)
        };
        Ok(Array2::from_shape_fn((window.rows, window.columns), value))
    }
}

/// All values of a field in the order of its scan, rows or columns that run to and fro put right;
/// or what is wrong.
fn values(message: &Message<'_>) -> std::result::Result<(Scan, Vec<f32>), String> {
    let scan = Scan::of(&definition(message)).ok_or("a grid that is not read")?;
    let in_words = |cause: grib_reader::Error| cause.to_string();
    let values = match mended(message, scan)? {
        None => message.read_flat_data_as_f32().map_err(in_words)?,
        Some(bytes) => {
            let index = message.metadata().field_index_in_message;
            let file = builder().from_bytes(bytes).map_err(in_words)?;
            let field = file.message(index).map_err(in_words)?;
            field.read_flat_data_as_f32().map_err(in_words)?
        }
    };
    let values = match row_lengths(message) {
        Some(rows) => filled(values, &rows, scan.columns),
        None => values,
    };
    if values.len() != scan.columns * scan.rows {
        return Err(format!(
            "{} values for {} by {} points",
            values.len(),
            scan.columns,
            scan.rows
        ));
    }
    Ok((scan, values))
}

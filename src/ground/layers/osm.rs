//! Extracts of OpenStreetMap, streamed.
//!
//! The file is read through three or four times, some blocks at a time, so that memory depends on
//! what the region holds and not on how large the file is: first the numbers of the nodes in the
//! region and around it (two bytes each) and the areas made of many ways; then the ways that touch the region
//! and mean something, and the outlines that may lie all around it; then those that complete such areas; at last the places of their nodes.
//!
//! # References
//!
//! OpenStreetMap wiki, "PBF Format"; "Relation:multipolygon".

use std::collections::HashMap;
use std::path::Path;

use osmpbf::{Blob, BlobDecode, BlobReader, Element, HeaderBBox, PrimitiveBlock, RelMemberType};
use rayon::prelude::*;
use roaring::RoaringTreemap;

use super::far::Nearest;
use super::osm_tags::{Meaning, meaning, place_name};
use super::{Area, FileLayers, Kind, Layer, LayerFinding, Line, Spot};
use crate::error::{Fault, Result};
use crate::files::{guarded, quiet};
use crate::geodesy::wrap_longitude;
use crate::ground::region::Region;

/// Blocks decoded at the same time: some 32 MB each at most, usually a few.
const BLOCKS: usize = 8;
/// Units of what is kept of a place in a degree.
const UNITS: f64 = 1e7;

/// Outlines without a node in the region are looked for so far around it, m: of a lake in which all of it lies.
const AROUND_M: f64 = 40_000.0;

/// The kinds that an extract holds.
const KINDS: [Kind; 7] = [
    Kind::Road,
    Kind::River,
    Kind::Lake,
    Kind::Urban,
    Kind::PowerLine,
    Kind::Airfield,
    Kind::Place,
];

/// An extract that has fewer in a region may have been filtered to them, and tells nothing of others.
const FEWEST_KINDS: usize = 3;

/// A way that means something, or is part of an area that does.
struct Way {
    id: i64,
    meaning: Option<Meaning>,
    nodes: Vec<i64>,
}

/// An area whose outlines are made of several ways.
struct Multi {
    meaning: Meaning,
    ways: Vec<i64>,
}

/// What the first pass finds.
#[derive(Default)]
struct Survey {
    near: RoaringTreemap,
    /// Nodes around the region: those north, south, east and west of it.
    around: [RoaringTreemap; 4],
    /// The first node of each block: where on earth the extract is.
    here_and_there: Vec<[f64; 2]>,
    /// The box that the file says it holds, else that of all nodes.
    bounds: Bounds,
    spots: Vec<Spot>,
    multis: Vec<Multi>,
}

/// A box of degrees, with longitudes from the side of the region on; of nothing, one that is turned inside out.
#[derive(Debug, Clone, Copy)]
struct Bounds {
    lat: [f64; 2],
    lon: [f64; 2],
}

impl Default for Bounds {
    fn default() -> Bounds {
        let nothing = [f64::INFINITY, f64::NEG_INFINITY];
        Bounds {
            lat: nothing,
            lon: nothing,
        }
    }
}

impl Bounds {
    fn with(self, other: Bounds) -> Bounds {
        let both = |a: [f64; 2], b: [f64; 2]| [a[0].min(b[0]), a[1].max(b[1])];
        Bounds {
            lat: both(self.lat, other.lat),
            lon: both(self.lon, other.lon),
        }
    }

    fn of([lon, lat]: [f64; 2]) -> Bounds {
        Bounds {
            lat: [lat; 2],
            lon: [lon; 2],
        }
    }

    /// What a file says it holds; it may reach across the antimeridian.
    fn said(said: &HeaderBBox, region: &Region) -> Bounds {
        let width = match said.right - said.left {
            width if width < 0.0 => width + 360.0,
            width => width,
        };
        let middle = match width < 360.0 {
            true => region.turned_place([said.left + 0.5 * width, 0.0])[0],
            // All round the earth there is no edge.
            false => region.plane.center().lon_deg,
        };
        Bounds {
            lat: [said.bottom, said.top],
            lon: [middle - 0.5 * width, middle + 0.5 * width],
        }
    }

    /// What of it lies within a region's box.
    fn within(&self, region: &Region) -> Area {
        let both = |own: [f64; 2], other: [f64; 2]| [own[0].max(other[0]), own[1].min(other[1])];
        let [[south, north], [west, east]] =
            [both(self.lat, region.lat), both(self.lon, region.lon)];
        let ring = vec![[west, south], [east, south], [east, north], [west, north]];
        Area {
            rings: Vec::from_iter((west < east && south < north).then_some(ring)),
            name: String::new(),
        }
    }

    /// Where it ends within a region; `None` where it holds all of it.
    fn end_within(&self, region: &Region) -> Option<LayerFinding> {
        let [south_deg, west_deg] = [(self.lat, region.lat), (self.lon, region.lon)]
            .map(|(own, wanted)| Some(own[0]).filter(|low| *low > wanted[0]));
        let [north_deg, east_deg] = [(self.lat, region.lat), (self.lon, region.lon)]
            .map(|(own, wanted)| Some(own[1]).filter(|high| *high < wanted[1]));
        let sides = [north_deg, south_deg, east_deg, west_deg];
        sides
            .iter()
            .any(Option::is_some)
            .then(|| LayerFinding::EndsWithin {
                north_deg,
                south_deg,
                east_deg: east_deg.map(wrap_longitude),
                west_deg: west_deg.map(wrap_longitude),
            })
    }
}

/// One layer for each kind, or for the one that is wanted.
pub(super) fn read(
    path: &Path,
    name: &str,
    region: &Region,
    only: Option<Kind>,
) -> Result<FileLayers> {
    if let Some(kind) = only.filter(|kind| !KINDS.contains(kind)) {
        let expected = format!("a file whose features are all {}", kind.name());
        let found = "an extract of OpenStreetMap, which holds all sorts of things";
        return Err(Fault::new(name, found, expected).into());
    }
    guarded(name, "an OpenStreetMap extract", || {
        Extract {
            path,
            name,
            region,
            frame: Region::around(region.plane.center(), region.reach_m + AROUND_M),
            only,
        }
        .layers()
    })
}

struct Extract<'a> {
    path: &'a Path,
    name: &'a str,
    region: &'a Region,
    /// The region with what lies around it.
    frame: Region,
    only: Option<Kind>,
}

impl Extract<'_> {
    fn layers(&self) -> Result<FileLayers> {
        let mut survey = self.survey()?;
        let too_far = match survey.near.is_empty() {
            true => self.too_far(&survey.here_and_there),
            false => None,
        };
        if too_far.is_some() {
            return Ok(FileLayers {
                layers: self.empty(),
                too_far,
            });
        }
        // Ways of such areas often have no tags: what they mean stands with the area.
        let members: RoaringTreemap = ids(survey.multis.iter().flat_map(|m| &m.ways));
        let (near, around) = (&survey.near, &survey.around);
        let touching = |nodes: &[i64]| any_of(nodes, near);
        let sides = |nodes: &[i64]| around.each_ref().map(|side| any_of(nodes, side));
        let surrounds = |meaning: &Option<Meaning>, nodes: &[i64]| {
            let is_area = meaning.as_ref().is_some_and(|m| m.area);
            is_area && is_closed(nodes) && sides(nodes) == [true; 4]
        };
        let mut ways = self.ways(|id, meaning, nodes| {
            let is_member = members.contains(id.cast_unsigned());
            ((meaning.is_some() || is_member) && touching(nodes))
                || surrounds(meaning, nodes)
                || (is_member && sides(nodes).contains(&true))
        })?;
        // An area of several ways may touch the region with one, or surround it with all of them.
        let of_way = |way: &Way| (way.id, (touching(&way.nodes), sides(&way.nodes)));
        let lies: HashMap<i64, (bool, [bool; 4])> = ways.iter().map(of_way).collect();
        survey.multis.retain(|multi| {
            let found = || multi.ways.iter().filter_map(|id| lies.get(id));
            let side = |i: usize| found().any(|(_, sides)| sides.get(i) == Some(&true));
            found().any(|(touches, _)| *touches) || (0..4).all(side)
        });
        let wanted = ids(survey.multis.iter().flat_map(|m| &m.ways));
        ways.retain(|way| {
            let touches = lies.get(&way.id).is_some_and(|(touches, _)| *touches);
            touches
                || wanted.contains(way.id.cast_unsigned())
                || surrounds(&way.meaning, &way.nodes)
        });
        // One more pass through the file is worth it only for areas that touch the region.
        let missing = wanted - ids(ways.iter().map(|way| &way.id));
        if !missing.is_empty() {
            ways.extend(self.ways(|id, _, _| missing.contains(id.cast_unsigned()))?);
        }
        let needed = ids(ways.iter().flat_map(|way| &way.nodes));
        let places = self.places(&needed)?;
        let mut layers = self.assemble(&survey, &ways, &places);
        self.cover(&mut layers, &survey);
        Ok(FileLayers { layers, too_far })
    }

    /// Says of layers which part of the region they cover.
    fn cover(&self, layers: &mut [Layer], survey: &Survey) {
        let in_part = self.covered_in_part(survey);
        let kinds = layers.iter().filter(|layer| !layer.is_empty()).count();
        for layer in layers.iter_mut() {
            // One with nothing of its kind says where that is only together with another file, and not where it was
            // filtered to something else.
            let tells = match layer.is_empty() {
                true => kinds >= FEWEST_KINDS,
                false => in_part.is_some(),
            };
            if tells {
                layer.covers = Some(survey.bounds.within(self.region));
            }
        }
        // Told once for the file, not for each of its kinds.
        if let Some((found, layer)) = in_part.zip(layers.first_mut()) {
            layer.note_of(self.only, found);
        }
    }

    /// That the extract lies beside the region, or ends within it; one around it may be empty there.
    fn covered_in_part(&self, survey: &Survey) -> Option<LayerFinding> {
        let Bounds { lat, lon } = survey.bounds;
        let touches = self.region.touches([lon[0], lat[0], lon[1], lat[1]]);
        // Ways may leave what a file says it holds.
        if touches || !survey.near.is_empty() {
            return survey.bounds.end_within(self.region);
        }
        let mut nearest = Nearest::new(self.region);
        for &node in &survey.here_and_there {
            nearest.look_at(&[node]);
        }
        Some(LayerFinding::NothingNear {
            center: self.region.plane.center(),
            reach_m: self.region.reach_m,
            nearest_m: nearest.nearest_m(),
        })
    }

    /// The nodes of a block lie close together, so one of each tells enough of an extract that has
    /// none in the region.
    fn too_far(&self, here_and_there: &[[f64; 2]]) -> Option<Fault> {
        let mut nearest = Nearest::new(self.region);
        for &node in here_and_there {
            nearest.look_at(&[node]);
        }
        nearest.fault(self.name, "an extract of the country")
    }

    /// Looks at all blocks, some at a time and in parallel, and takes what was found in order.
    fn scan<T: Send>(
        &self,
        look: impl Fn(&PrimitiveBlock) -> T + Sync,
        mut take: impl FnMut(T),
    ) -> Result<()> {
        let wrong = |cause: osmpbf::Error| {
            Fault::new(
                self.name,
                cause.to_string(),
                "a complete OpenStreetMap extract (.osm.pbf)",
            )
        };
        let mut blobs = BlobReader::from_path(self.path).map_err(wrong)?;
        loop {
            let batch: Vec<Blob> = blobs
                .by_ref()
                .take(BLOCKS)
                .collect::<std::result::Result<_, _>>()
                .map_err(wrong)?;
            if batch.is_empty() {
                return Ok(());
            }
            let found: Vec<Option<T>> = batch
                .par_iter()
                .map(|blob| {
                    quiet(|| match blob.decode()? {
                        BlobDecode::OsmData(block) => Ok(Some(look(&block))),
                        _ => Ok(None),
                    })
                })
                .collect::<std::result::Result<_, _>>()
                .map_err(wrong)?;
            // In the order of blocks, so that one file always makes the same layers.
            found.into_iter().flatten().for_each(&mut take);
        }
    }

    fn wants(&self, kind: Kind) -> bool {
        self.only.is_none_or(|only| only == kind)
    }

    /// Which nodes are in the region, and which areas are made of several ways.
    fn survey(&self) -> Result<Survey> {
        let mut survey = Survey::default();
        let look = |block: &PrimitiveBlock| {
            let mut found = Survey::default();
            block.for_each_element(|element| match element {
                Element::Node(node) => {
                    let at = [node.lon(), node.lat()];
                    self.node(&mut found, node.id(), at, || place_name(node.tags()));
                }
                Element::DenseNode(node) => {
                    let at = [node.lon(), node.lat()];
                    self.node(&mut found, node.id(), at, || place_name(node.tags()));
                }
                Element::Relation(relation) => {
                    let polygon = relation.tags().any(|t| t == ("type", "multipolygon"));
                    if let Some(meaning) = meaning(relation.tags())
                        && polygon
                        && meaning.area
                        && self.wants(meaning.kind)
                    {
                        let members = relation.members();
                        let ways = members
                            .filter(|m| m.member_type == RelMemberType::Way)
                            .map(|m| m.member_id)
                            .collect();
                        found.multis.push(Multi { meaning, ways });
                    }
                }
                Element::Way(_) => {}
            });
            found
        };
        self.scan(look, |found| {
            survey.near |= found.near;
            for (all, found) in survey.around.iter_mut().zip(found.around) {
                *all |= found;
            }
            survey.here_and_there.extend(found.here_and_there);
            survey.bounds = survey.bounds.with(found.bounds);
            survey.spots.extend(found.spots);
            survey.multis.extend(found.multis);
        })?;
        // Nodes may end at a coast or, of a file with few features, anywhere; ways may lead out of it.
        let is_box = |b: &Bounds| b.lat[0] < b.lat[1] && b.lon[0] < b.lon[1];
        if let Some(said) = self.said().filter(is_box) {
            survey.bounds = said;
        }
        Ok(survey)
    }

    /// The box that the file says it holds. One that cannot be read is told by who looks at its blocks.
    fn said(&self) -> Option<Bounds> {
        let first = BlobReader::from_path(self.path).ok()?.next()?.ok()?;
        match quiet(|| first.decode()).ok()? {
            BlobDecode::OsmHeader(heading) => Some(Bounds::said(&heading.bbox()?, self.region)),
            _ => None,
        }
    }

    fn node(&self, found: &mut Survey, id: i64, at: [f64; 2], name: impl Fn() -> Option<String>) {
        let [lon, lat] = at;
        if found.here_and_there.is_empty() {
            found.here_and_there.push(at);
        }
        found.bounds = found.bounds.with(Bounds::of(self.region.turned_place(at)));
        if self.region.touches([lon, lat, lon, lat]) {
            found.near.insert(id.cast_unsigned());
            if self.wants(Kind::Place) {
                found.spots.extend(name().map(|name| Spot { at, name }));
            }
        } else if self.frame.touches([lon, lat, lon, lat]) {
            let sides = found.around.iter_mut().zip(self.region.sides(at));
            for (nodes, _) in sides.filter(|(_, lies)| *lies) {
                nodes.insert(id.cast_unsigned());
            }
        }
    }

    /// The ways that `keep` wants, by number, meaning and nodes.
    fn ways(
        &self,
        keep: impl Fn(i64, &Option<Meaning>, &[i64]) -> bool + Sync,
    ) -> Result<Vec<Way>> {
        let mut ways = Vec::new();
        let look = |block: &PrimitiveBlock| {
            let mut found = Vec::new();
            block.for_each_element(|element| {
                let Element::Way(way) = element else { return };
                let meaning = meaning(way.tags()).filter(|m| self.wants(m.kind));
                let nodes: Vec<i64> = way.refs().collect();
                if keep(way.id(), &meaning, &nodes) {
                    let id = way.id();
                    found.push(Way { id, meaning, nodes });
                }
            });
            found
        };
        self.scan(look, |found| ways.extend(found))?;
        Ok(ways)
    }

    /// Where the nodes are, in units of 1e-7 degrees, in the order of their numbers.
    fn places(&self, needed: &RoaringTreemap) -> Result<Vec<(i64, [i32; 2])>> {
        let mut places = Vec::new();
        let look = |block: &PrimitiveBlock| {
            let mut found = Vec::new();
            block.for_each_element(|element| {
                let (id, at) = match element {
                    Element::Node(n) => (n.id(), [n.decimicro_lon(), n.decimicro_lat()]),
                    Element::DenseNode(n) => (n.id(), [n.decimicro_lon(), n.decimicro_lat()]),
                    _ => return,
                };
                if needed.contains(id.cast_unsigned()) {
                    found.push((id, at));
                }
            });
            found
        };
        self.scan(look, |found| places.extend(found))?;
        // A sorted list instead of a map, for its size: a region may need millions of nodes.
        places.sort_unstable();
        Ok(places)
    }

    /// The layers, with nothing in them yet.
    fn empty(&self) -> Vec<Layer> {
        let kinds = KINDS.iter().filter(|&&kind| self.wants(kind));
        kinds.map(|&kind| Layer::new(kind, self.name)).collect()
    }

    fn assemble(&self, survey: &Survey, ways: &[Way], places: &[(i64, [i32; 2])]) -> Vec<Layer> {
        let mut layers = self.empty();
        let mut incomplete = vec![0; layers.len()];
        for (layer, incomplete) in layers.iter_mut().zip(&mut incomplete) {
            let ways = ways.iter().filter_map(|w| Some((w, w.meaning.as_ref()?)));
            let kind = layer.kind;
            for (way, meaning) in ways.filter(|(_, m)| m.kind == kind) {
                if meaning.area && is_closed(&way.nodes) {
                    *incomplete +=
                        usize::from(!self.add_area(layer, meaning, &[&way.nodes], places));
                } else if kind.takes_lines() {
                    self.add_line(layer, meaning, &way.nodes, places);
                }
            }
        }
        let by_id: HashMap<i64, &Way> = ways.iter().map(|way| (way.id, way)).collect();
        for multi in &survey.multis {
            let parts: Vec<&[i64]> = multi
                .ways
                .iter()
                .filter_map(|id| by_id.get(id))
                .map(|way| way.nodes.as_slice())
                .collect();
            let rings = joined(&parts);
            let rings: Vec<&Vec<i64>> = rings.iter().collect();
            let mut counted = layers.iter_mut().zip(&mut incomplete);
            let of_kind = counted.find(|(layer, _)| layer.kind == multi.meaning.kind);
            if let Some((layer, incomplete)) = of_kind {
                let whole = parts.len() == multi.ways.len();
                let added = self.add_area(layer, &multi.meaning, &rings, places);
                *incomplete += usize::from(!added || !whole);
            }
        }
        for (layer, count) in layers.iter_mut().zip(incomplete) {
            if layer.kind == Kind::Place {
                layer.spots.clone_from(&survey.spots);
            }
            if count > 0 {
                layer.note(LayerFinding::Incomplete { count });
            }
        }
        layers
    }

    fn add_line(
        &self,
        layer: &mut Layer,
        meaning: &Meaning,
        nodes: &[i64],
        places: &[(i64, [i32; 2])],
    ) {
        // A node that is not in the extract ends one piece and begins another.
        let points: Vec<Option<[f64; 2]>> = nodes.iter().map(|&n| place_of(n, places)).collect();
        for piece in points.split(Option::is_none) {
            let piece: Vec<[f64; 2]> = piece.iter().flatten().copied().collect();
            for points in self.region.clip_line(&piece) {
                layer.lines.push(Line {
                    points,
                    class: meaning.class,
                    name: meaning.name.clone(),
                });
            }
        }
    }

    /// Adds an area; false when its outline is not closed or has nodes that are not there.
    fn add_area(
        &self,
        layer: &mut Layer,
        meaning: &Meaning,
        rings: &[&Vec<i64>],
        places: &[(i64, [i32; 2])],
    ) -> bool {
        let mut whole = !rings.is_empty();
        let mut clipped = Vec::new();
        for ring in rings {
            let points: Vec<[f64; 2]> = ring.iter().filter_map(|&n| place_of(n, places)).collect();
            // What is there of it counts all the same: half a lake is water, too.
            whole &= points.len() == ring.len() && ring.first() == ring.last();
            clipped.extend(self.region.clip_ring(&points));
        }
        if !clipped.is_empty() {
            layer.areas.push(Area {
                rings: clipped,
                name: meaning.name.clone(),
            });
        }
        whole
    }
}

fn ids<'a>(all: impl Iterator<Item = &'a i64>) -> RoaringTreemap {
    all.map(|&id| id.cast_unsigned()).collect()
}

fn any_of(nodes: &[i64], among: &RoaringTreemap) -> bool {
    nodes.iter().any(|&n| among.contains(n.cast_unsigned()))
}

/// A triangle has four nodes: its first one is repeated at the end.
fn is_closed(nodes: &[i64]) -> bool {
    nodes.len() > 3 && nodes.first() == nodes.last()
}

fn place_of(node: i64, places: &[(i64, [i32; 2])]) -> Option<[f64; 2]> {
    let i = places.binary_search_by_key(&node, |p| p.0).ok()?;
    Some(places.get(i)?.1.map(|v| f64::from(v) / UNITS))
}

/// Ways joined end to end into rings; one that does not close is left open.
#[allow(
    clippy::indexing_slicing,
    reason = "numbers of the parts, as counted here"
)]
fn joined(parts: &[&[i64]]) -> Vec<Vec<i64>> {
    // Found by their ends: to try all parts for each would take the square of their number.
    let mut at_end: HashMap<i64, Vec<usize>> = HashMap::new();
    for (i, part) in parts.iter().enumerate() {
        for end in [part.first(), part.last()].into_iter().flatten() {
            at_end.entry(*end).or_default().push(i);
        }
    }
    let mut used = vec![false; parts.len()];
    let mut rings = Vec::new();
    for first in 0..parts.len() {
        if std::mem::replace(&mut used[first], true) || parts[first].len() < 2 {
            continue;
        }
        let mut ring = parts[first].to_vec();
        while ring.first() != ring.last() {
            let Some(&end) = ring.last() else { break };
            let next = at_end.get(&end).into_iter().flatten().find(|&&i| !used[i]);
            let Some(&next) = next else { break };
            used[next] = true;
            if parts[next].first() == Some(&end) {
                ring.extend(&parts[next][1..]);
            } else {
                ring.extend(parts[next].iter().rev().skip(1));
            }
        }
        rings.push(ring);
    }
    rings
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ways_join_into_rings_whichever_way_they_run() {
        let rings = joined(&[&[1, 2, 3], &[5, 4, 3], &[5, 1], &[7, 8, 9, 7], &[20, 21]]);
        assert_eq!(
            rings,
            [vec![1, 2, 3, 4, 5, 1], vec![7, 8, 9, 7], vec![20, 21]]
        );
        assert!(joined(&[]).is_empty());
    }
}

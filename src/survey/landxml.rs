//! LandXML: the points of surfaces (`P`) and of coordinate lists (`CgPoint`).
//!
//! In: XML, each point as northing, easting, height. Out: x = easting, y = northing, z, in the unit that the file's
//! `Units` element names. Faces, breaklines, alignments and parcels are not read: a floor is made of its points.
//! Source: LandXML 1.2 schema (from memory).

use std::fs::File;
use std::io::{BufReader, Read, Take};

use quick_xml::Reader as Xml;
use quick_xml::events::{BytesStart, Event};

use crate::error::{Error, Place, Result};
use crate::survey::lines;
use crate::survey::{Batch, Content, Format, LeftOut, Options, PointReader, Source, cloud};
use crate::units::LengthUnit;

/// LandXML.
pub const LANDXML: Format = Format {
    name: "landxml",
    title: "LandXML points",
    recognises: |head| memchr::memmem::find(head, b"<LandXML").is_some(),
    open,
};

/// Bytes of a tag or a text, at most: it is held whole.
const LONGEST: u64 = 16 << 20;

fn open(source: &Source, options: &Options) -> Result<Content> {
    let mut reader = Reader {
        source: source.clone(),
        xml: Xml::from_reader(source.buffered()?.take(LONGEST)),
        text: Vec::new(),
        number: 0,
        left_out: LeftOut::default(),
    };
    let unit = reader.unit()?.or(options.units).ok_or_else(|| {
        let wanted = "a Units element before the points, or --units";
        Error::input(source.place(), "no unit of length", wanted)
    })?;
    Ok(cloud::content(Box::new(reader), Some(unit), options))
}

struct Reader {
    source: Source,
    xml: Xml<Take<BufReader<File>>>,
    text: Vec<u8>,
    /// Points begun so far.
    number: u64,
    left_out: LeftOut,
}

impl Reader {
    fn next(&mut self) -> Result<Event<'_>> {
        self.text.clear();
        self.xml.get_mut().set_limit(LONGEST);
        let event = self.xml.read_event_into(&mut self.text);
        if self.xml.get_ref().limit() == 0 {
            let found = format!("a tag or a text of more than {} MiB", LONGEST >> 20);
            let place = Place::record(self.source.name(), self.number + 1);
            return Err(Error::input(place, found, "the points of a floor"));
        }
        event.map_err(|error| {
            let at = self.xml.error_position();
            let found = format!("broken XML at byte {at} ({error})");
            Error::input(self.source.place(), found, "well-formed LandXML")
        })
    }

    /// The unit of length, up to the end of the element that names it.
    fn unit(&mut self) -> Result<Option<LengthUnit>> {
        loop {
            let unit = match self.next()? {
                Event::Start(tag) | Event::Empty(tag) => match tag.local_name().as_ref() {
                    "Metric" | "Imperial" => linear_unit(&tag),
                    "CgPoints" | "Surfaces" => return Ok(None),
                    _ => continue,
                },
                Event::Eof => return Ok(None),
                _ => continue,
            };
            return unit.map(Some).map_err(|found| {
                let wanted = "linearUnit meter, millimeter, centimeter, foot, USSurveyFoot or inch";
                Error::input(self.source.place(), format!("linearUnit '{found}'"), wanted)
            });
        }
    }

    /// The next point, or None at the end.
    fn point(&mut self) -> Result<Option<[f64; 3]>> {
        loop {
            match self.next()? {
                Event::Start(tag) if matches!(tag.local_name().as_ref(), "P" | "CgPoint") => {}
                Event::Eof => return Ok(None),
                _ => continue,
            }
            self.number += 1;
            // A point without text refers to another one by name.
            let Event::Text(text) = self.next()? else {
                continue;
            };
            let Some([north, east, height]) = lines::only_numbers(text.as_bytes()) else {
                let found = lines::shown(text.as_bytes());
                let place = Place::record(self.source.name(), self.number);
                return Err(Error::input(place, found, "northing, easting and height"));
            };
            return Ok(Some([east, north, height]));
        }
    }
}

/// What `linearUnit` says, or how it is spelled when it is unknown.
fn linear_unit(tag: &BytesStart) -> std::result::Result<LengthUnit, String> {
    let attribute = tag.try_get_attribute("linearUnit").ok().flatten();
    let value = attribute
        .map(|attribute| attribute.value)
        .unwrap_or_default();
    match value.as_ref() {
        "meter" => Ok(LengthUnit::Metre),
        "millimeter" => Ok(LengthUnit::Millimetre),
        "centimeter" => Ok(LengthUnit::Centimetre),
        "foot" => Ok(LengthUnit::Foot),
        "USSurveyFoot" => Ok(LengthUnit::UsSurveyFoot),
        "inch" => Ok(LengthUnit::Inch),
        other => Err(other.to_owned()),
    }
}

impl PointReader for Reader {
    fn next_batch(&mut self, batch: &mut Batch) -> Result<bool> {
        batch.clear();
        while batch.len() < cloud::BATCH {
            let Some(point) = self.point()? else {
                return Ok(!batch.is_empty());
            };
            cloud::push(batch, &mut self.left_out, point);
        }
        Ok(true)
    }

    fn announced(&self) -> Option<u64> {
        None
    }

    fn left_out(&self) -> LeftOut {
        self.left_out
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::survey::cloud::testing::{error, points};

    fn file(units: &str) -> Vec<u8> {
        format!(
            "<?xml version=\"1.0\"?>\n<LandXML xmlns=\"http://www.landxml.org/schema/LandXML-1.2\" version=\"1.2\">\n\
             <Units>{units}</Units><CgPoints><CgPoint name=\"7\">20 10 1.5</CgPoint><CgPoint pntRef=\"7\"></CgPoint>\
             </CgPoints><Surfaces><Surface name=\"a\"><Definition surfType=\"TIN\"><Pnts>\n\
             <P id=\"1\"> 2000.5 1000.25\n0.125 </P></Pnts><Faces><F>1 1 1</F></Faces></Definition></Surface></Surfaces>\
             </LandXML>"
        )
        .into_bytes()
    }

    #[test]
    fn northing_stands_first_and_feet_become_metres() {
        let metric = file("<Metric areaUnit=\"squareMeter\" linearUnit=\"meter\"/>");
        assert!((LANDXML.recognises)(&metric));
        let expected = [[10.0, 20.0, 1.5], [1000.25, 2000.5, 0.125]];
        assert_eq!(points(&LANDXML, &metric), expected);
        let survey = file("<Imperial linearUnit=\"USSurveyFoot\"></Imperial>");
        assert_eq!(points(&LANDXML, &survey)[0][1], 20.0 * 1200.0 / 3937.0);
        let foot = file("<Imperial linearUnit=\"foot\"></Imperial>");
        assert_eq!(points(&LANDXML, &foot)[0][1], 20.0 * 0.3048);
    }

    #[test]
    fn a_unit_is_never_guessed_and_broken_xml_is_an_error() {
        assert!(error(&LANDXML, &file("")).contains("no unit of length"));
        assert!(
            error(&LANDXML, &file("<Metric linearUnit=\"mile\"/>")).contains("linearUnit 'mile'")
        );
        let cut = file("<Metric linearUnit=\"meter\"/>");
        let bad = String::from_utf8(cut).unwrap().replace("1.5", "high");
        assert!(error(&LANDXML, bad.as_bytes()).contains("record 1: found '20 10 high'"));
        let bad = bad.replace("20 10 high", "1 2 3").replace("</P>", "</Q>");
        assert!(error(&LANDXML, bad.as_bytes()).contains("broken XML"));
        let long = file("<Metric linearUnit=\"meter\"/>");
        let long = String::from_utf8(long)
            .unwrap()
            .replace("10 1.5", &"1".repeat(17 << 20));
        let wanted = "record 2: found a tag or a text of more than 16 MiB";
        assert!(error(&LANDXML, long.as_bytes()).contains(wanted));
    }
}

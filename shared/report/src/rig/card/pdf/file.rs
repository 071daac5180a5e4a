//! The objects of a PDF file (ISO 32000-1, 7.5), written one after the other.

use std::io::Write;

use flate2::Compression;
use flate2::write::ZlibEncoder;

/// The number of an object.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Ref(usize);

impl std::fmt::Display for Ref {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{} 0 R", self.0)
    }
}

/// Objects, in the order of their numbers; a number may be taken before its object is known.
#[derive(Default)]
pub struct Objects(Vec<Vec<u8>>);

impl Objects {
    /// Takes a number.
    pub fn take(&mut self) -> Ref {
        self.0.push(Vec::new());
        Ref(self.0.len())
    }

    /// Sets the object of a number.
    pub fn set(&mut self, at: Ref, object: impl Into<Vec<u8>>) {
        if let Some(place) = self.0.get_mut(at.0 - 1) {
            *place = object.into();
        }
    }

    /// Adds an object.
    pub fn add(&mut self, object: impl Into<Vec<u8>>) -> Ref {
        let at = self.take();
        self.set(at, object);
        at
    }

    /// Adds a compressed stream; `entries` are those of its dictionary besides length and filter.
    ///
    /// # Errors
    /// It can't be compressed.
    pub fn stream(&mut self, entries: &str, bytes: &[u8]) -> std::io::Result<Ref> {
        let mut packer = ZlibEncoder::new(Vec::new(), Compression::best());
        packer.write_all(bytes)?;
        let packed = packer.finish()?;
        let mut object = format!(
            "<<{entries}/Filter/FlateDecode/Length {}>>\nstream\n",
            packed.len()
        )
        .into_bytes();
        object.extend(packed);
        object.extend(b"\nendstream");
        Ok(self.add(object))
    }

    /// The whole file.
    pub fn file(&self, catalogue: Ref, information: Ref) -> Vec<u8> {
        // The second line says that the file isn't text (7.5.2).
        let mut file = b"%PDF-1.7\n%\xe2\xe3\xcf\xd3\n".to_vec();
        let mut places = Vec::new();
        for (number, object) in self.0.iter().enumerate() {
            places.push(file.len());
            file.extend(format!("{} 0 obj\n", number + 1).bytes());
            file.extend(object);
            file.extend(b"\nendobj\n");
        }
        let table = file.len();
        let count = self.0.len() + 1;
        // Each entry has twenty bytes (7.5.4).
        file.extend(format!("xref\n0 {count}\n0000000000 65535 f \n").bytes());
        for place in places {
            file.extend(format!("{place:010} 00000 n \n").bytes());
        }
        file.extend(
            format!(
                "trailer\n<</Size {count}/Root {catalogue}/Info {information}>>\nstartxref\n{table}\n%%EOF\n"
            )
            .bytes(),
        );
        file
    }
}

/// A text as a hexadecimal string in UTF-16 with its mark (7.9.2.2).
pub fn text(text: &str) -> String {
    format!("<FEFF{}>", utf16(text))
}

/// A text in UTF-16, hexadecimal.
pub fn utf16(text: &str) -> String {
    text.encode_utf16().map(|unit| format!("{unit:04X}")).collect()
}

/// A number with at most three decimals and no exponent (7.3.3).
pub fn number(value: f64) -> String {
    let text = format!("{value:.3}");
    let text = text.trim_end_matches('0').trim_end_matches('.');
    if text == "-0" { "0" } else { text }.into()
}

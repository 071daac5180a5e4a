//! Dropped outlines are gone, kept ones are as they were, and nothing has moved.

use std::collections::BTreeSet;

#[path = "../outlines.rs"]
mod outlines;

use outlines::{keep_only, table};

fn outlines_of(file: &[u8]) -> Vec<u8> {
    file[table(file, b"CFF ").expect("it has outlines")].to_vec()
}

#[test]
fn what_is_kept_stays_and_the_rest_becomes_zeros() {
    for file in [
        sumproof_fonts::REGULAR,
        sumproof_fonts::SEMIBOLD,
        sumproof_fonts::ITALIC,
    ] {
        let whole = outlines_of(file);
        let some: BTreeSet<u32> = [0, 3, 40, 41, 500].into();
        let mut few = whole.clone();
        assert_eq!(keep_only(&mut few, &some), Some(()));
        assert_eq!(few.len(), whole.len());
        let zeros = |bytes: &[u8]| bytes.iter().filter(|&&byte| byte == 0).count();
        assert!(zeros(&few) > whole.len() / 2, "{}", zeros(&few));
        // The same again changes nothing: every subroutine of what is left is still there.
        let mut again = few.clone();
        assert_eq!(keep_only(&mut again, &some), Some(()));
        assert!(again == few);
        // Keeping everything drops names only.
        let mut all = whole.clone();
        assert_eq!(keep_only(&mut all, &(0..65_536).collect()), Some(()));
        let changed = all.iter().zip(&whole).filter(|(a, b)| a != b);
        assert!(
            changed
                .clone()
                .all(|(&now, _)| now == b'-' || now == 11 || now == 0)
        );
    }
}

#[test]
fn damaged_tables_are_refused_and_never_panic() {
    let whole = outlines_of(sumproof_fonts::ITALIC);
    let some: BTreeSet<u32> = [0, 3, 40].into();
    for length in [0, 1, 3, 20, 3000, whole.len() / 2] {
        let mut cut = whole[..length].to_vec();
        assert_eq!(keep_only(&mut cut, &some), None, "{length}");
    }
    // Bytes changed one after the other, in the parts that hold places and numbers.
    for at in (0..600).chain((48_000..62_000).step_by(97)) {
        for byte in [0, 0xff, 14, 29] {
            let mut damaged = whole.clone();
            damaged[at] = byte;
            let _ = keep_only(&mut damaged, &some);
        }
    }
    assert_eq!(table(&[0; 30], b"CFF "), None);
    assert_eq!(table(b"OTTO\0\x01", b"CFF "), None);
}

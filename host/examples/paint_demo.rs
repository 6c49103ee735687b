//! Paints the demonstration's art: `cargo run --release --example paint_demo -p panestep`.
//!
//! The same pictures every time, into `host/demo/art`, or into the folder that is given.

use std::path::PathBuf;

#[path = "paint_demo/paint.rs"]
mod paint;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let folder = std::env::args_os().nth(1).map_or_else(
        || PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("demo/art"),
        PathBuf::from,
    );
    std::fs::create_dir_all(&folder)?;
    for (name, picture) in paint::all() {
        let path = folder.join(format!("{name}.png"));
        paint::save(&picture, &path)?;
        eprintln!(
            "{} {} x {}",
            path.display(),
            picture.width(),
            picture.height()
        );
    }
    Ok(())
}

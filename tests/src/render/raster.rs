//! A software renderer for egui: textured triangles, blended in order. The same picture on every machine.
//!
//! It works as egui's own shaders do: colours are multiplied and blended in gamma space, premultiplied with alpha; a
//! pixel belongs to a triangle if its centre does. Paint callbacks can't be drawn, and are an error.

use std::collections::HashMap;

use egui::epaint::{ImageDelta, Mesh, Primitive, Vertex};
use egui::{Color32, ImageData, Rect, TextureFilter, TextureId, TexturesDelta};
use egui_kittest::TestRenderer;
use image::RgbaImage;

/// A colour, premultiplied, 0 to 1 per channel.
type Colour = [f32; 4];

struct Texture {
    size: [usize; 2],
    pixels: Vec<Color32>,
    linear: bool,
}

impl Texture {
    fn at(&self, x: isize, y: isize) -> Colour {
        let clamp = |v: isize, len: usize| v.clamp(0, len as isize - 1) as usize;
        let index = clamp(y, self.size[1]) * self.size[0] + clamp(x, self.size[0]);
        colour(self.pixels[index])
    }

    fn sample(&self, u: f32, v: f32) -> Colour {
        let (x, y) = (u * self.size[0] as f32, v * self.size[1] as f32);
        if !self.linear {
            return self.at(x.floor() as isize, y.floor() as isize);
        }
        let (x, y) = (x - 0.5, y - 0.5);
        let (x0, y0) = (x.floor(), y.floor());
        let (fx, fy) = (x - x0, y - y0);
        let (x0, y0) = (x0 as isize, y0 as isize);
        let (a, b) = (self.at(x0, y0), self.at(x0 + 1, y0));
        let (c, d) = (self.at(x0, y0 + 1), self.at(x0 + 1, y0 + 1));
        std::array::from_fn(|n| {
            let top = a[n] + (b[n] - a[n]) * fx;
            let bottom = c[n] + (d[n] - c[n]) * fx;
            top + (bottom - top) * fy
        })
    }

    fn set(&mut self, delta: &ImageDelta, [left, top]: [usize; 2]) {
        let ImageData::Color(image) = &delta.image;
        for y in 0..image.size[1] {
            let from = y * image.size[0];
            let to = (top + y) * self.size[0] + left;
            self.pixels[to..to + image.size[0]].copy_from_slice(&image.pixels[from..from + image.size[0]]);
        }
    }
}

fn colour(c: Color32) -> Colour {
    c.to_array().map(|byte| f32::from(byte) / 255.0)
}

/// Draws egui's output.
#[derive(Default)]
pub struct CpuRenderer {
    textures: HashMap<TextureId, Texture>,
}

impl TestRenderer for CpuRenderer {
    fn handle_delta(&mut self, delta: &mut TexturesDelta) {
        for (id, deltas) in std::mem::take(&mut delta.set) {
            for delta in deltas {
                let ImageData::Color(image) = &delta.image;
                match (delta.pos, self.textures.get_mut(&id)) {
                    (Some(place), Some(texture)) => texture.set(&delta, place),
                    (Some(_), None) => {}
                    (None, _) => {
                        let texture = Texture {
                            size: image.size,
                            pixels: image.pixels.clone(),
                            linear: delta.options.magnification == TextureFilter::Linear,
                        };
                        self.textures.insert(id, texture);
                    }
                }
            }
        }
        for id in std::mem::take(&mut delta.free) {
            self.textures.remove(&id);
        }
    }

    fn render(&mut self, ctx: &egui::Context, output: &egui::FullOutput) -> Result<RgbaImage, String> {
        let scale = output.pixels_per_point;
        let size = ctx.content_rect().size() * scale;
        let mut canvas = Canvas::new(size.x.round() as usize, size.y.round() as usize);
        for clipped in ctx.tessellate(output.shapes.clone(), scale) {
            match &clipped.primitive {
                Primitive::Mesh(mesh) => {
                    let texture = self
                        .textures
                        .get(&mesh.texture_id)
                        .ok_or_else(|| format!("texture {:?} was never set", mesh.texture_id))?;
                    canvas.mesh(mesh, texture, clipped.clip_rect, scale);
                }
                Primitive::Callback(_) => return Err("a paint callback needs a graphics card".into()),
            }
        }
        Ok(canvas.into_image())
    }
}

struct Canvas {
    width: usize,
    height: usize,
    pixels: Vec<Colour>,
}

/// A corner of a triangle in pixels.
#[derive(Clone, Copy)]
struct Corner {
    x: f32,
    y: f32,
    u: f32,
    v: f32,
    colour: Colour,
}

impl Corner {
    fn new(vertex: &Vertex, scale: f32) -> Self {
        Self {
            x: vertex.pos.x * scale,
            y: vertex.pos.y * scale,
            u: vertex.uv.x,
            v: vertex.uv.y,
            colour: colour(vertex.color),
        }
    }
}

/// Twice the signed area of the triangle a, b, (x, y).
fn edge(a: &Corner, b: &Corner, x: f32, y: f32) -> f32 {
    (b.x - a.x) * (y - a.y) - (b.y - a.y) * (x - a.x)
}

/// Whether a pixel centre exactly on this edge belongs to the triangle (top-left rule): of two triangles that share an
/// edge only one draws it.
fn owns(a: &Corner, b: &Corner) -> bool {
    let (dx, dy) = (b.x - a.x, b.y - a.y);
    dy < 0.0 || (dy == 0.0 && dx > 0.0)
}

impl Canvas {
    fn new(width: usize, height: usize) -> Self {
        Self {
            width,
            height,
            pixels: vec![[0.0; 4]; width * height],
        }
    }

    fn mesh(&mut self, mesh: &Mesh, texture: &Texture, clip: Rect, scale: f32) {
        // As egui's painters do it: a clip rectangle ends on whole pixels.
        let held = |v: f32, most: usize| (v * scale).round().clamp(0.0, most as f32) as usize;
        let clip = [
            held(clip.min.x, self.width),
            held(clip.min.y, self.height),
            held(clip.max.x, self.width),
            held(clip.max.y, self.height),
        ];
        for triangle in mesh.indices.chunks_exact(3) {
            let corners = [0, 1, 2].map(|n| Corner::new(&mesh.vertices[triangle[n] as usize], scale));
            self.triangle(corners, texture, clip);
        }
    }

    fn triangle(&mut self, [a, mut b, mut c]: [Corner; 3], texture: &Texture, clip: [usize; 4]) {
        let mut area = edge(&a, &b, c.x, c.y);
        if area < 0.0 {
            std::mem::swap(&mut b, &mut c);
            area = -area;
        }
        if area <= 0.0 || !area.is_finite() {
            return;
        }
        let least = |p: fn(&Corner) -> f32| p(&a).min(p(&b)).min(p(&c));
        let most = |p: fn(&Corner) -> f32| p(&a).max(p(&b)).max(p(&c));
        let x_range = (least(|p| p.x).floor().max(clip[0] as f32) as usize)
            ..(most(|p| p.x).ceil().clamp(0.0, clip[2] as f32) as usize);
        let y_range = (least(|p| p.y).floor().max(clip[1] as f32) as usize)
            ..(most(|p| p.y).ceil().clamp(0.0, clip[3] as f32) as usize);
        let owned = [owns(&b, &c), owns(&c, &a), owns(&a, &b)];
        for y in y_range {
            let centre_y = y as f32 + 0.5;
            for x in x_range.clone() {
                let centre_x = x as f32 + 0.5;
                let weights = [
                    edge(&b, &c, centre_x, centre_y),
                    edge(&c, &a, centre_x, centre_y),
                    edge(&a, &b, centre_x, centre_y),
                ];
                let inside = weights
                    .iter()
                    .zip(owned)
                    .all(|(&weight, owned)| weight > 0.0 || (weight == 0.0 && owned));
                if !inside {
                    continue;
                }
                let [wa, wb, wc] = weights.map(|weight| weight / area);
                let mix = |a: f32, b: f32, c: f32| a * wa + b * wb + c * wc;
                let texel = texture.sample(mix(a.u, b.u, c.u), mix(a.v, b.v, c.v));
                let source: Colour =
                    std::array::from_fn(|n| texel[n] * mix(a.colour[n], b.colour[n], c.colour[n]));
                let pixel = &mut self.pixels[y * self.width + x];
                let keep = 1.0 - source[3];
                for (channel, source) in pixel.iter_mut().zip(source) {
                    *channel = source + *channel * keep;
                }
            }
        }
    }

    fn into_image(self) -> RgbaImage {
        let bytes: Vec<u8> = self
            .pixels
            .iter()
            .flatten()
            .map(|&channel| (channel.clamp(0.0, 1.0) * 255.0 + 0.5) as u8)
            .collect();
        RgbaImage::from_raw(self.width as u32, self.height as u32, bytes).unwrap_or_default()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use egui::{Pos2, pos2};

    fn white() -> Texture {
        Texture {
            size: [1, 1],
            pixels: vec![Color32::WHITE],
            linear: true,
        }
    }

    fn vertex(x: f32, y: f32, colour: Color32) -> Vertex {
        Vertex {
            pos: pos2(x, y),
            uv: Pos2::ZERO,
            color: colour,
        }
    }

    fn quad(colour: Color32) -> Mesh {
        Mesh {
            indices: vec![0, 1, 2, 0, 2, 3],
            vertices: vec![
                vertex(1.5, 1.5, colour),
                vertex(6.5, 1.5, colour),
                vertex(6.5, 5.5, colour),
                vertex(1.5, 5.5, colour),
            ],
            texture_id: TextureId::Managed(0),
        }
    }

    /// Corners and the diagonal both go through pixel centres: each pixel is drawn once, or a translucent colour would
    /// show twice.
    #[test]
    fn every_pixel_of_a_quad_is_drawn_just_once() {
        let half = Color32::from_rgba_premultiplied(64, 64, 64, 128);
        let mut canvas = Canvas::new(10, 10);
        canvas.mesh(&quad(half), &white(), Rect::EVERYTHING, 1.0);
        let drawn: Vec<&Colour> = canvas.pixels.iter().filter(|pixel| pixel[3] > 0.0).collect();
        assert_eq!(drawn.len(), 5 * 4);
        assert!(drawn.iter().all(|pixel| (pixel[3] - 128.0 / 255.0).abs() < 1e-6));
    }

    #[test]
    fn blending_is_over_with_premultiplied_alpha_and_clips() {
        let mut canvas = Canvas::new(10, 10);
        canvas.mesh(&quad(Color32::WHITE), &white(), Rect::EVERYTHING, 1.0);
        let half_red = Color32::from_rgba_premultiplied(128, 0, 0, 128);
        let clip = Rect::from_min_max(pos2(0.0, 0.0), pos2(4.0, 10.0));
        canvas.mesh(&quad(half_red), &white(), clip, 1.0);
        let image = canvas.into_image();
        assert_eq!(image.get_pixel(3, 3).0, [255, 127, 127, 255]);
        assert_eq!(image.get_pixel(4, 3).0, [255, 255, 255, 255]);
        assert_eq!(image.get_pixel(0, 0).0, [0, 0, 0, 0]);
    }

    #[test]
    fn a_texture_is_read_between_its_pixels_only_if_it_wants_to() {
        let mut texture = Texture {
            size: [2, 1],
            pixels: vec![Color32::BLACK, Color32::WHITE],
            linear: true,
        };
        assert!((texture.sample(0.5, 0.5)[0] - 0.5).abs() < 1e-6);
        assert_eq!(texture.sample(0.0, 0.5)[0], 0.0);
        texture.linear = false;
        assert_eq!(texture.sample(0.49, 0.5)[0], 0.0);
        assert_eq!(texture.sample(0.51, 0.5)[0], 1.0);
    }
}

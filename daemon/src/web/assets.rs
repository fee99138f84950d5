//! The page's files, embedded.

use axum::http::{HeaderMap, StatusCode, Uri, header};
use axum::response::{IntoResponse, Response};
use sha2::{Digest, Sha256};
use std::collections::BTreeMap;
use std::sync::LazyLock;

mod embedded {
    include!(concat!(env!("OUT_DIR"), "/assets.rs"));
}

struct Asset {
    bytes: &'static [u8],
    kind: &'static str,
    tag: String,
}

static ASSETS: LazyLock<BTreeMap<&'static str, Asset>> = LazyLock::new(|| {
    embedded::FILES
        .iter()
        .map(|(path, bytes)| {
            let digest = Sha256::digest(bytes);
            let tag: String = digest.iter().take(8).map(|b| format!("{b:02x}")).collect();
            let asset = Asset {
                bytes,
                kind: kind(path),
                tag: format!("\"{tag}\""),
            };
            (*path, asset)
        })
        .collect()
});

fn kind(path: &str) -> &'static str {
    match path.rsplit_once('.').map(|(_, end)| end) {
        Some("html") => "text/html; charset=utf-8",
        Some("js" | "mjs") => "text/javascript; charset=utf-8",
        Some("css") => "text/css; charset=utf-8",
        Some("svg") => "image/svg+xml",
        Some("png") => "image/png",
        Some("ico") => "image/x-icon",
        Some("json" | "webmanifest") => "application/json",
        Some("woff2") => "font/woff2",
        _ => "text/plain; charset=utf-8",
    }
}

/// Answers `/` and every file of the page; 404 otherwise.
pub(crate) async fn serve(uri: Uri, headers: HeaderMap) -> Response {
    let path = match uri.path() {
        "/" => "/index.html",
        other => other,
    };
    let Some(asset) = ASSETS.get(path) else {
        return (StatusCode::NOT_FOUND, "no such page\n").into_response();
    };
    let known = headers
        .get(header::IF_NONE_MATCH)
        .is_some_and(|tag| tag.as_bytes() == asset.tag.as_bytes());
    let common = [
        (header::ETAG, asset.tag.clone()),
        // A newer daemon brings a newer page: always ask, mostly answered by 304.
        (header::CACHE_CONTROL, "no-cache".to_owned()),
    ];
    if known {
        return (StatusCode::NOT_MODIFIED, common).into_response();
    }
    (common, [(header::CONTENT_TYPE, asset.kind)], asset.bytes).into_response()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_page_and_its_chart_library_are_embedded_with_the_licence() {
        for path in [
            "/index.html",
            "/vendor/uPlot.esm.js",
            "/vendor/uPlot.LICENSE",
        ] {
            assert!(ASSETS.contains_key(path), "{path}");
        }
    }

    #[test]
    fn the_page_asks_for_nothing_from_elsewhere() {
        for (path, asset) in ASSETS
            .iter()
            .filter(|(path, _)| !path.starts_with("/vendor/"))
        {
            let text = String::from_utf8_lossy(asset.bytes);
            for sign in [
                "http://",
                "https://",
                "src=\"//",
                "<script>",
                "onclick=",
                " style=\"",
            ] {
                let found = text
                    .lines()
                    .find(|line| line.contains(sign) && !line.contains("www.w3.org"));
                assert_eq!(found, None, "{path} holds {sign}");
            }
        }
    }
}

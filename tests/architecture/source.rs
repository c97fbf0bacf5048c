//! Reads one source file for the architecture test, without its tests: the names, the strings and the enum variants in it.

use proc_macro2::{Delimiter, Group, Spacing, TokenStream, TokenTree};
use std::collections::{BTreeMap, BTreeSet};
use syn::parse::Parser;
use syn::punctuated::Punctuated;
use syn::visit::{self, Visit};
use syn::{
    Expr, ExprPath, ExprStruct, ItemEnum, ItemImpl, Macro, Pat, Path, Token, Type, UseGlob, UsePath, UseRename, UseTree,
};

/// Stands for every variant of an enum.
pub(super) const ANY: &str = "*";

/// A source file without what is compiled only for tests.
#[derive(Default)]
pub(super) struct Source {
    /// Every token; `::` is one token and a string literal an empty one.
    pub(super) tokens: Vec<String>,
    /// The string literals, as they are written.
    pub(super) strings: Vec<String>,
    /// The modules declared under `#[cfg(test)]`.
    pub(super) test_modules: Vec<String>,
    /// The variants of each enum whose values are made by code (not by a derived parser).
    pub(super) enums: BTreeMap<String, Vec<String>>,
    /// Each `Enum::Variant` that stands in an expression.
    pub(super) constructed: BTreeSet<(String, String)>,
}

impl Source {
    pub(super) fn parse(path: &str, text: &str) -> Self {
        let tokens: TokenStream = text.parse().unwrap_or_else(|e| panic!("{path}: {e}"));
        let mut source = Self::default();
        let code = source.without_tests(tokens);
        source.flatten(code.clone());
        let file: syn::File = syn::parse2(code).unwrap_or_else(|e| panic!("{path}: {e}"));
        let mut imports = Imports::default();
        imports.visit_file(&file);
        let mut variants = Variants { source: &mut source, imports: &imports, implementing: None };
        variants.visit_file(&file);
        source
    }

    /// Leaves out doc comments and every item under `#[cfg(test)]`.
    fn without_tests(&mut self, tokens: TokenStream) -> TokenStream {
        let mut kept = Vec::new();
        let mut tokens = tokens.into_iter().peekable();
        while let Some(token) = tokens.next() {
            if let (TokenTree::Punct(hash), Some(TokenTree::Group(attribute))) = (&token, tokens.peek())
                && hash.as_char() == '#'
            {
                let attribute = attribute.stream().to_string().replace(' ', "");
                if attribute.starts_with("doc=") {
                    tokens.next();
                    continue;
                }
                if attribute == "cfg(test)" {
                    self.skip_item(&mut tokens);
                    continue;
                }
            }
            // An inner doc comment has a `!` between the hash and its group.
            if let (TokenTree::Punct(hash), Some(TokenTree::Punct(mark))) = (&token, tokens.peek())
                && (hash.as_char(), mark.as_char()) == ('#', '!')
            {
                tokens.next();
                tokens.next();
                continue;
            }
            kept.push(match token {
                TokenTree::Group(group) => {
                    TokenTree::Group(Group::new(group.delimiter(), self.without_tests(group.stream())))
                }
                other => other,
            });
        }
        kept.into_iter().collect()
    }

    /// Skips the rest of an item: up to its braces or its semicolon.
    fn skip_item(&mut self, tokens: &mut impl Iterator<Item = TokenTree>) {
        let mut module = None;
        let mut import = false;
        let mut last = String::new();
        for token in tokens {
            match token {
                // The braces of an import are not the end of the item.
                TokenTree::Group(group) if group.delimiter() == Delimiter::Brace && !import => return,
                TokenTree::Punct(mark) if mark.as_char() == ';' => {
                    self.test_modules.extend(module);
                    return;
                }
                TokenTree::Ident(name) => {
                    import |= name == "use";
                    if last == "mod" {
                        module = Some(name.to_string());
                    }
                    last = name.to_string();
                }
                _ => {}
            }
        }
    }

    fn flatten(&mut self, tokens: TokenStream) {
        let mut joined = false;
        for token in tokens {
            match token {
                TokenTree::Group(group) => {
                    let (open, close) = match group.delimiter() {
                        Delimiter::Parenthesis => ("(", ")"),
                        Delimiter::Brace => ("{", "}"),
                        Delimiter::Bracket => ("[", "]"),
                        Delimiter::None => ("", ""),
                    };
                    self.tokens.push(open.to_owned());
                    self.flatten(group.stream());
                    self.tokens.push(close.to_owned());
                    joined = false;
                }
                TokenTree::Punct(mark) if joined && mark.as_char() == ':' => {
                    self.tokens.pop();
                    self.tokens.push("::".to_owned());
                    joined = false;
                }
                TokenTree::Punct(mark) => {
                    joined = mark.as_char() == ':' && mark.spacing() == Spacing::Joint;
                    self.tokens.push(mark.to_string());
                }
                TokenTree::Literal(literal) => {
                    let literal = literal.to_string();
                    let is_text = literal.ends_with(['"', '#']);
                    self.tokens.push(if is_text { String::new() } else { literal.clone() });
                    self.strings.extend(is_text.then_some(literal));
                    joined = false;
                }
                TokenTree::Ident(name) => {
                    self.tokens.push(name.to_string());
                    joined = false;
                }
            }
        }
    }

    /// Whether these tokens stand in the code, one after the other.
    pub(super) fn has(&self, code: &str) -> bool {
        let mut wanted = Self::default();
        wanted.flatten(code.parse().expect("tokens"));
        self.tokens.windows(wanted.tokens.len()).any(|w| w == wanted.tokens)
    }

    /// The names that follow the crate's root in a path: `crate::name`, `crate::{name, ...}`, and `super::` repeated `depth` times.
    pub(super) fn top_level_names(&self, depth: usize) -> BTreeSet<&str> {
        let mut names = BTreeSet::new();
        for (at, token) in self.tokens.iter().enumerate() {
            let is_first = at == 0 || self.tokens[at - 1] != "::";
            match token.as_str() {
                "crate" => self.names_after(at + 1, &mut names),
                "super" if is_first => {
                    let supers = self.tokens[at..].chunks(2).take_while(|c| c[0] == "super").count();
                    if supers >= depth {
                        self.names_after(at + 2 * depth - 1, &mut names);
                    }
                }
                _ => {}
            }
        }
        names
    }

    /// The first names of what follows a `::`, in braces or not.
    fn names_after<'a>(&'a self, colons: usize, names: &mut BTreeSet<&'a str>) {
        let token = |at: usize| self.tokens.get(at).map_or("", String::as_str);
        if token(colons) != "::" {
            return;
        }
        if token(colons + 1) != "{" {
            names.insert(token(colons + 1));
            return;
        }
        let mut depth = 0;
        for at in colons + 1..self.tokens.len() {
            match token(at) {
                "{" => depth += 1,
                "}" => depth -= 1,
                _ => {}
            }
            if depth == 0 {
                return;
            }
            if depth == 1 && matches!(token(at), "{" | ",") && !matches!(token(at + 1), "}" | "self") {
                names.insert(token(at + 1));
            }
        }
    }

    /// Whether a path of this crate stands in the code.
    pub(super) fn names_crate(&self, name: &str) -> bool {
        self.tokens.iter().enumerate().any(|(at, token)| {
            let before = at.checked_sub(1).map_or("", |b| self.tokens[b].as_str());
            let after = self.tokens.get(at + 1).map_or("", String::as_str);
            token == name && before != "::" && (after == "::" || (before == "use" && matches!(after, ";" | "as")))
        })
    }
}

/// What the imports of a file rename, the owner of each name they import, and of which types they import everything.
#[derive(Default)]
struct Imports {
    renamed: BTreeMap<String, String>,
    owners: BTreeMap<String, String>,
    globs: BTreeSet<String>,
}

impl<'a> Visit<'a> for Imports {
    fn visit_use_path(&mut self, path: &'a UsePath) {
        let owner = path.ident.to_string();
        match &*path.tree {
            UseTree::Glob(UseGlob { .. }) => drop(self.globs.insert(owner)),
            UseTree::Group(group) => self.owners.extend(group.items.iter().filter_map(|tree| match tree {
                UseTree::Name(name) => Some((name.ident.to_string(), owner.clone())),
                _ => None,
            })),
            UseTree::Name(name) => drop(self.owners.insert(name.ident.to_string(), owner)),
            _ => {}
        }
        visit::visit_use_path(self, path);
    }

    fn visit_use_rename(&mut self, import: &'a UseRename) {
        self.renamed.insert(import.rename.to_string(), import.ident.to_string());
    }
}

/// Collects enums and the variants that are constructed.
struct Variants<'a> {
    source: &'a mut Source,
    imports: &'a Imports,
    /// What `Self` is.
    implementing: Option<String>,
}

impl Variants<'_> {
    fn construct(&mut self, path: &Path) {
        let mut ends = path.segments.iter().rev().map(|s| s.ident.to_string());
        let constructed = &mut self.source.constructed;
        match (ends.next(), ends.next()) {
            (Some(variant), Some(owner)) => {
                let owner = if owner == "Self" { self.implementing.clone().unwrap_or(owner) } else { owner };
                let owner = self.imports.renamed.get(&owner).cloned().unwrap_or(owner);
                constructed.insert((owner, variant));
            }
            (Some(variant), None) => {
                let owners = self.imports.globs.iter().chain(self.imports.owners.get(&variant));
                constructed.extend(owners.map(|owner| (owner.clone(), variant.clone())));
            }
            _ => {}
        }
    }
}

impl<'a> Visit<'a> for Variants<'_> {
    fn visit_item_enum(&mut self, item: &'a ItemEnum) {
        let derived: String =
            item.attrs.iter().filter_map(|a| a.meta.require_list().ok()).map(|l| l.tokens.to_string()).collect();
        if !["ValueEnum", "Subcommand", "Deserialize"].iter().any(|d| derived.contains(d)) {
            let variants = item.variants.iter().map(|v| v.ident.to_string()).collect();
            self.source.enums.insert(item.ident.to_string(), variants);
        }
    }

    fn visit_item_impl(&mut self, item: &'a ItemImpl) {
        let outer = self.implementing.take();
        if let Type::Path(path) = &*item.self_ty {
            self.implementing = path.path.segments.last().map(|s| s.ident.to_string());
        }
        visit::visit_item_impl(self, item);
        self.implementing = outer;
    }

    fn visit_expr_path(&mut self, expression: &'a ExprPath) {
        self.construct(&expression.path);
    }

    fn visit_expr_struct(&mut self, expression: &'a ExprStruct) {
        self.construct(&expression.path);
        visit::visit_expr_struct(self, expression);
    }

    fn visit_pat(&mut self, pattern: &'a Pat) {
        // A path as a pattern constructs nothing.
        if !matches!(pattern, Pat::Path(_)) {
            visit::visit_pat(self, pattern);
        }
    }

    fn visit_macro(&mut self, called: &'a Macro) {
        let tokens = called.tokens.clone();
        let expressions: Vec<Expr> = if called.path.is_ident("matches") {
            // What follows the comma is a pattern.
            let is_comma = |t: &TokenTree| matches!(t, TokenTree::Punct(p) if p.as_char() == ',');
            let first: TokenStream = tokens.into_iter().take_while(|t| !is_comma(t)).collect();
            syn::parse2(first).into_iter().collect()
        } else if let Ok(list) = Punctuated::<Expr, Token![,]>::parse_terminated.parse2(tokens.clone()) {
            list.into_iter().collect()
        } else {
            // A macro with a grammar of its own: every path and imported name in it may be an expression.
            let mut inside = Source::default();
            inside.flatten(tokens);
            let paths = inside.tokens.windows(3).filter(|w| w[1] == "::");
            // `Enum::$variant` may be any of them.
            let variant = |name: &str| if name == "$" { ANY.to_owned() } else { name.to_owned() };
            self.source.constructed.extend(paths.map(|w| (w[0].clone(), variant(&w[2]))));
            let imported = inside.tokens.iter().filter_map(|name| Some((self.imports.owners.get(name)?, name)));
            self.source.constructed.extend(imported.map(|(owner, name)| (owner.clone(), name.clone())));
            return;
        };
        for expression in &expressions {
            let implementing = self.implementing.clone();
            Variants { source: self.source, imports: self.imports, implementing }.visit_expr(expression);
        }
    }
}

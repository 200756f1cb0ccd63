/** Every sentence people see: `t('key', {name: value})` from the catalogue of the page's language, English as fallback. */
import english from './texts/en.json';

export type TextKey = keyof typeof english;
type Catalogue = Partial<Record<TextKey, string>>;

const catalogues = import.meta.glob<{default: Catalogue}>(['./texts/*.json', '!./texts/en.json']);
let current: Catalogue = english;
let currentLanguage = 'en';

/** Fetch the catalogue of a language; languages without one stay English. */
export async function loadTexts(language: string): Promise<void> {
  const code = language.toLowerCase().split('-')[0] ?? 'en';
  currentLanguage = language;
  const load = catalogues[`./texts/${code}.json`];
  current = load ? (await load()).default : english;
}

export function language(): string {
  return currentLanguage;
}

export function t(key: TextKey, values: Record<string, string | number> = {}): string {
  const sentence = current[key] ?? english[key];
  return sentence.replace(/\{(\w+)\}/g, (whole, name: string) => (name in values ? String(values[name]) : whole));
}

/** Talk to the server: JSON in and out, the CSRF token on writes, problem details as one error class. */
import type {AnnotationChange, AnnotationData, AnnotationDraft, ProblemDetails} from './contract';
import {t} from '../ui/texts';

export class ApiProblem extends Error {
  override name = 'ApiProblem';

  constructor(readonly status: number, readonly problem: ProblemDetails) {
    super(problem.detail ?? problem.title);
  }

  get code(): string {
    return this.problem.code ?? '';
  }
}

interface Call {
  method?: 'GET' | 'POST' | 'PATCH';
  body?: unknown;
  headers?: Record<string, string>;
}

export class ApiClient {
  constructor(private readonly csrfToken: string, private readonly fetcher: typeof fetch = (...call) => fetch(...call)) {}

  async call<T>(url: string, {method = 'GET', body, headers = {}}: Call = {}): Promise<T> {
    const sent: Record<string, string> = {Accept: 'application/json', ...headers};
    if (method !== 'GET') sent['X-CSRFToken'] = this.csrfToken;
    if (body !== undefined) sent['Content-Type'] = 'application/json';
    const init: RequestInit = {method, headers: sent, credentials: 'same-origin'};
    if (body !== undefined) init.body = JSON.stringify(body);
    let answer: Response;
    try {
      answer = await this.fetcher(url, init);
    } catch {
      throw new ApiProblem(0, {title: t('problem.no_signal'), detail: t('problem.no_signal_do'), code: 'no_signal'});
    }
    if (!answer.ok) throw new ApiProblem(answer.status, await problemOf(answer));
    return (await answer.json()) as T;
  }
}

async function problemOf(answer: Response): Promise<ProblemDetails> {
  const fallback = {title: t('problem.answer', {status: answer.status}), detail: t('problem.answer_do')};
  try {
    const body: unknown = await answer.json();
    if (typeof body === 'object' && body !== null && 'title' in body) return body as ProblemDetails;
  } catch {
    // The server, or something before it, answered with something else than JSON.
  }
  return fallback;
}

/** The marks of one face. */
export class AnnotationsApi {
  constructor(private readonly client: ApiClient, private readonly url: string) {}

  async list(): Promise<AnnotationData[]> {
    const found: AnnotationData[] = [];
    let next: string | null = this.url;
    while (next) {
      const page: AnnotationData[] | {results: AnnotationData[]; next: string | null} = await this.client.call(next);
      if (Array.isArray(page)) return page;
      found.push(...page.results);
      next = page.next;
    }
    return found;
  }

  async keep(draft: AnnotationDraft): Promise<AnnotationData> {
    return this.client.call(this.withoutQuery(), {method: 'POST', body: draft});
  }

  async change(annotation: AnnotationData, change: AnnotationChange): Promise<AnnotationData> {
    const url = `${this.withoutQuery()}${annotation.id}`;
    const headers = {'If-Match': `"${String(annotation.revision)}"`};
    return this.client.call(url, {method: 'PATCH', body: change, headers});
  }

  private withoutQuery(): string {
    return this.url.split('?', 1)[0] ?? this.url;
  }
}
